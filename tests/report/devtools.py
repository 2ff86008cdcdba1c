"""A headless Chromium driven over its DevTools protocol by a pipe: real keys, any width.

Only the standard library is needed: `--remote-debugging-pipe` speaks JSON texts, each ended
by a zero byte, on file descriptors 3 and 4.
"""

from __future__ import annotations

import fcntl
import importlib.util
import itertools
import json
import os
import shutil
import subprocess
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

CHROMIUM = shutil.which("chromium")
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--remote-debugging-pipe")
PATIENCE = 300  # s for the whole of one browser
KEYS = {"Tab": (9, ""), "Enter": (13, "\r"), " ": (32, " ")}


def axe_script() -> str:
    """The accessibility checker's script, or "" where the extra `browser` is not installed."""
    spec = importlib.util.find_spec("axe_playwright_python")
    places = spec.submodule_search_locations if spec else None
    return (Path(places[0]) / "axe.min.js").read_text("utf-8") if places else ""


class Browser:
    """One page of one browser; used as a context."""

    def __init__(self) -> None:
        assert CHROMIUM is not None
        self.folder = tempfile.mkdtemp(prefix="packcalc-browser-")
        theirs_in, self._in = os.pipe()
        self._out, theirs_out = os.pipe()
        high = [fcntl.fcntl(f, fcntl.F_DUPFD, 20) for f in (theirs_in, theirs_out)]

        def place() -> None:
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)

        self.process = subprocess.Popen(
            [CHROMIUM, *FLAGS, f"--user-data-dir={self.folder}", "about:blank"],
            pass_fds=(3, 4), preexec_fn=place, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL)
        for used in (theirs_in, theirs_out, *high):
            os.close(used)
        self._timer = threading.Timer(PATIENCE, self.process.kill)
        self._timer.start()
        self._rest = b""
        self._numbers = itertools.count(1)
        self.events: list[dict[str, Any]] = []
        self.session = ""

    def __enter__(self) -> Browser:
        targets = self.call("Target.getTargets")["targetInfos"]
        page = next(t["targetId"] for t in targets if t["type"] == "page")
        self.session = self.call("Target.attachToTarget", targetId=page, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()
        self.process.kill()
        self.process.wait()
        os.close(self._in)
        os.close(self._out)
        shutil.rmtree(self.folder, ignore_errors=True)

    def _read(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            more = os.read(self._out, 1 << 20)
            if not more:
                raise RuntimeError("the browser went away")
            self._rest += more
        text, self._rest = self._rest.split(b"\0", 1)
        return json.loads(text)

    def call(self, method: str, **given: Any) -> Any:
        """Send one command and wait for its answer; what else arrives is kept as events."""
        number = next(self._numbers)
        sent = {"id": number, "method": method, "params": given}
        if self.session:
            sent["sessionId"] = self.session
        text = memoryview(json.dumps(sent).encode() + b"\0")
        while text:
            text = text[os.write(self._in, text):]
        while (found := self._read()).get("id") != number:
            self.events.append(found)
        if "error" in found:
            raise RuntimeError(f"{method}: {found['error']}")
        return found["result"]

    def open(self, path: Path, width: int = 1280, height: int = 900) -> None:
        """Load a page at a width; waits for it."""
        self.events.clear()
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height,
                  deviceScaleFactor=1, mobile=False)
        self.call("Page.navigate", url=path.as_uri())
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self._read())

    def run(self, script: str) -> Any:
        """The value of an expression; a promise is waited for."""
        found = self.call("Runtime.evaluate", expression=script, returnByValue=True,
                          awaitPromise=True)
        if "exceptionDetails" in found:
            raise RuntimeError(json.dumps(found["exceptionDetails"])[:500])
        return found["result"].get("value")

    def becomes(self, script: str, seconds: float = 5.0) -> bool:
        """Whether an expression comes true within a while; following a link takes a moment."""
        ends = time.monotonic() + seconds
        while not (found := bool(self.run(script))) and time.monotonic() < ends:
            time.sleep(0.02)
        return found

    def press(self, key: str) -> None:
        """One real key, down and up."""
        code, text = KEYS[key]
        base = {"key": key, "code": "Space" if key == " " else key,
                "windowsVirtualKeyCode": code, "nativeVirtualKeyCode": code}
        self.call("Input.dispatchKeyEvent", type="keyDown" if text else "rawKeyDown", text=text,
                  **base)
        self.call("Input.dispatchKeyEvent", type="keyUp", **base)

    def complaints(self) -> list[str]:
        """What the page wrote to the console, threw, or fetched from elsewhere."""
        found = []
        for event in self.events:
            name, said = event.get("method", ""), event.get("params", {})
            if name in ("Runtime.exceptionThrown", "Runtime.consoleAPICalled", "Log.entryAdded"):
                found.append(f"{name}: {json.dumps(said)[:300]}")
            if name == "Network.requestWillBeSent" and said.get("type") != "Document":
                found.append(f"fetched: {said['request']['url'][:200]}")
        return found

"""Run the circuits below in ngspice and record what it measures, with its version.

    python tests/oracle/record_spice.py

The plain tests read the recorded file and need no ngspice.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

RECORD = Path(__file__).with_name("spice_values.json")
RAMP = 0.1  # V over which a load wakes; a hard switch makes the engine chatter


def charging(load: str, stop: float, measures: str, ohms: float = 100.0) -> str:
    """Charging of 1 mF from 400 V; `load` is one more netlist line."""
    return f"""charging a bus
V1 in 0 DC 400
R1 in out {ohms}
C1 out 0 1m IC=0
{load}
.tran 20u {stop} 0 20u UIC
{measures}
.end
"""


def waking(power: float, at: float = 60.0) -> str:
    """Constant power that wakes at a voltage."""
    return (f"B1 out 0 I = {power}/max(v(out),{at}) "
            f"* min(max((v(out)-{at})/{RAMP},0),1)")


def closing(ohms: float) -> str:
    """A 400 V battery closes through 5 µH onto 1 mF at 380 V."""
    return f"""closing step
V1 in 0 DC 400
R1 in a {ohms}
L1 a out 5u IC=0
C1 out 0 1m IC=380
.tran 0.05u 1m 0 0.05u UIC
.meas tran peak MAX par('-i(V1)')
.end
"""


END = ".meas tran end FIND v(out) AT={}"
WHEN = ".meas tran time WHEN v(out)={}"

CASES = {
    "no load, voltage at 0.1 s": charging("", 0.2, END.format(0.1)),
    "no load, time to 380 V": charging("", 0.4, WHEN.format(380)),
    "no load, heat in the resistor": charging(
        "", 1.5, ".meas tran heat INTEG PAR('(v(in)-v(out))*(v(in)-v(out))/100') FROM=0 TO=1.5"),
    "500 ohm load on 50 ohm, end": charging("R2 out 0 500", 1.0, END.format(1.0), 50.0),
    "500 ohm load on 50 ohm, time to 340 V": charging("R2 out 0 500", 1.0, WHEN.format(340), 50.0),
    "100 W waking at 60 V, end": charging(waking(100), 3.0, END.format(3.0)),
    "100 W waking at 60 V, time to 360 V": charging(waking(100), 3.0, WHEN.format(360)),
    "190 W waking at 60 V, end": charging(waking(190), 5.0, END.format(5.0)),
    "220 W waking at 60 V, end": charging(waking(220), 2.0, END.format(2.0)),
    "300 W waking at 60 V, end": charging(waking(300), 2.0, END.format(2.0)),
    "300 W waking at 60 V, heat from 1 s to 2 s": charging(
        waking(300), 2.0,
        ".meas tran heat INTEG PAR('(v(in)-v(out))*(v(in)-v(out))/100') FROM=1 TO=2"),
    "100 W at 60 V and 5 kohm, time to 350 V": charging(
        "R2 out 0 5k\n" + waking(100), 3.0, WHEN.format(350)),
    "closing step, ringing 60 mohm": closing(0.06),
    "closing step, critical 141.421356 mohm": closing(0.141421356),
    "closing step, creeping 300 mohm": closing(0.3),
}


def version() -> str:
    """First words of the engine's own version line."""
    text = subprocess.run(["ngspice", "--version"], capture_output=True, text=True,
                          check=True).stdout
    match = re.search(r"ngspice-(\S+)", text)
    return f"ngspice {match.group(1)}" if match else "ngspice"


def run(netlist: str) -> float:
    """Run one netlist and return what it measures."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "circuit.cir"
        path.write_text(netlist)
        text = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True,
                              timeout=120, check=False).stdout
    match = re.search(r"^(?:end|time|heat|peak)\s*=\s*([-+0-9.eE]+)", text, re.MULTILINE)
    if not match:
        raise SystemExit(f"no measurement in:\n{text[-800:]}")
    return float(match.group(1))


def main() -> None:
    """Record every case."""
    if not shutil.which("ngspice"):
        sys.exit("ngspice is not installed")
    values = {name: run(netlist) for name, netlist in CASES.items()}
    RECORD.write_text(json.dumps({"engine": version(), "values": values}, indent=1) + "\n")
    print(f"{len(values)} values recorded with {version()}")


if __name__ == "__main__":
    main()

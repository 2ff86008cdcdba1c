"""How quick packcalc is, as ratios of whole processes within one run, and one scale case.

    python -m tests.benchmarks.bench [runs]

Every process is run in turn, `runs` times over (9 unless told), and medians are compared,
so that a busy machine slows both sides of a ratio. packcalc is byte-compiled first, as pip
does with every installed package.
"""

from __future__ import annotations

import compileall
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TRUCK = str(ROOT / "examples" / "truck" / "brief.toml")
RUNS = 9
SCALE_SECONDS, SCALE_MEGABYTES = 5.0, 1000.0

BASES = {
    "click": "import click",
    "click, numpy, pint, tabulate": "import click, numpy, pint, tabulate",
    "click, numpy, pandas, pint, tabulate, jinja2":
        "import click, numpy, pandas, pint, tabulate, jinja2",
}


@dataclass(frozen=True)
class Ratio:
    """One command against importing some libraries.

    Attributes:
        title: the command in short.
        arguments: of packcalc.
        base: key of BASES.
        most: highest ratio allowed.
    """

    title: str
    arguments: tuple[str, ...]
    base: str
    most: float


RATIOS = (
    Ratio("--help", ("--help",), "click", 1.5),
    Ratio("check", ("check", TRUCK), "click, numpy, pint, tabulate", 1.5),
    Ratio("layouts", ("layouts", TRUCK), "click, numpy, pint, tabulate", 1.5),
    Ratio("report --out report.html", ("report", TRUCK, "--out", "report.html"),
          "click, numpy, pandas, pint, tabulate, jinja2", 2.0),
)


def environment() -> dict[str, str]:
    """The caller's environment, with packcalc found and compiled code used."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPATH": str(ROOT)}


def compile_packages() -> None:
    """Byte-compile packcalc as pip would."""
    for package in ("packcalc", "cell_library"):
        compileall.compile_dir(str(ROOT / package), quiet=1)


def seconds(arguments: list[str], folder: str) -> float:
    """Wall time of one whole Python process."""
    start = time.perf_counter()
    ran = subprocess.run([sys.executable, *arguments], cwd=folder, env=environment(),
                         capture_output=True, text=True)
    took = time.perf_counter() - start
    # 1 is an answer (a check fails); anything above is a breakdown that would time nothing.
    if ran.returncode > 1 or "Traceback" in ran.stderr:
        raise RuntimeError(f"{arguments} ended with {ran.returncode}: {ran.stderr[-500:]}")
    return took


def measure(runs: int = RUNS) -> list[tuple[Ratio, float, float]]:
    """Each command with the medians of its own and its base's wall time."""
    compile_packages()
    jobs = {**{base: ["-c", code] for base, code in BASES.items()},
            **{r.title: ["-m", "packcalc", *r.arguments] for r in RATIOS}}
    times: dict[str, list[float]] = {name: [] for name in jobs}
    with tempfile.TemporaryDirectory() as folder:
        for name, job in jobs.items():
            seconds(job, folder)  # warms the disk's cache
        for _ in range(runs):
            for name, job in jobs.items():
                times[name].append(seconds(job, folder))
    median = {name: statistics.median(found) for name, found in times.items()}
    return [(r, median[r.title], median[r.base]) for r in RATIOS]


# --- the scale case -------------------------------------------------------------------

def scale_brief():
    """500 module types of 15 000 each: S to 250 × P to 60 × both arrangements."""
    from packcalc.reading.brief_file import brief_from_data

    modules = [{"label": f"{4 + i % 21}s {40 + 7 * i % 200} Ah {('NMC', 'NCA', 'LFP')[i % 3]}",
                "count": 15000, "state_of_health": f"{75 + i % 20} %", "resistance_growth": 1.2}
               for i in range(500)]
    return brief_from_data({
        "modules": modules, "inverter": {"voltage_range": "240 V to 420 V"},
        "power": {"peak": "110 kW", "peak_duration": "10 s", "continuous": "42 kW"},
        "battery": {"coldest_start": "5 degC"}})


def _scale_here() -> None:
    import resource

    from packcalc.study import list_layouts

    brief = scale_brief()
    start = time.perf_counter()
    study = list_layouts(brief, most_series=250, most_parallel=60)
    took = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # kB on Linux, B on macOS
    print(json.dumps({"tried": study.tried, "fitting": len(study), "seconds": took,
                      "megabytes": peak / (1e6 if sys.platform == "darwin" else 1e3)}))


def scale() -> dict[str, float]:
    """Layouts tried and fitting, seconds, and the process's largest memory in megabytes."""
    ran = subprocess.run([sys.executable, "-m", "tests.benchmarks.bench", "--scale"], cwd=ROOT,
                         env=environment(), capture_output=True, text=True, check=True)
    return json.loads(ran.stdout)


def main(arguments: list[str]) -> None:
    """Print every ratio with its limit, then the scale case."""
    if arguments == ["--scale"]:
        _scale_here()
        return
    runs = int(arguments[0]) if arguments else RUNS
    print(f"medians of {runs} interleaved runs, whole processes, Python "
          f"{sys.version.split()[0]}")
    for ratio, own, base in measure(runs):
        print(f"{ratio.title:26} {1000 * own:5.0f} ms = {own / base:4.2f} × import of "
              f"{ratio.base} ({1000 * base:.0f} ms); at most {ratio.most}")
    found = scale()
    print(f"scale: {found['tried']} layouts of 500 module types, {found['fitting']} fitting: "
          f"{found['seconds']:.2f} s (at most {SCALE_SECONDS:.0f}), {found['megabytes']:.0f} MB "
          f"(at most {SCALE_MEGABYTES:.0f})")


if __name__ == "__main__":
    main(sys.argv[1:])

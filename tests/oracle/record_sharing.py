"""Run paralleled modules through a discharge in ngspice and record the currents.

    python tests/oracle/record_sharing.py

Each module is a source whose voltage follows its charge along a broken line, behind one
resistance; a capacitor of Q farads, charged from 0 to 1 V, keeps the charge.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

RECORD = Path(__file__).with_name("sharing_values.json")
CURVE = ((0.0, 3.0), (0.1, 3.30), (0.2, 3.49), (0.4, 3.67), (0.6, 3.84), (0.8, 4.04), (1.0, 4.20))
FLAT = ((0.0, 2.6), (0.1, 3.18), (0.3, 3.28), (0.5, 3.30), (0.7, 3.31), (0.9, 3.33), (1.0, 3.45))
# name: curve, ((capacity Ah, resistance Ω, charge at the start), …), current A, times s
CASES = {
    "equal capacity, resistance 1 to 1.2": (CURVE, ((50, 1.5e-3, 0.95), (50, 1.8e-3, 0.95)), 100.0,
                                            (1.0, 600.0, 1500.0, 2700.0)),
    "capacity 50 to 40, equal resistance": (CURVE, ((50, 1.5e-3, 0.95), (40, 1.5e-3, 0.95)), 90.0,
                                            (1.0, 600.0, 1500.0, 2700.0)),
    "flat curve, resistance 1 to 1.2": (FLAT, ((50, 1.5e-3, 0.95), (50, 1.8e-3, 0.95)), 100.0,
                                        (1.0, 600.0, 1500.0, 2700.0)),
    "three unlike modules, unlike charge": (
        CURVE, ((52, 1.4e-3, 0.90), (48, 1.9e-3, 0.88), (40, 2.6e-3, 0.93)), 120.0,
        (1.0, 300.0, 1200.0, 2400.0)),
    "no load, ten percent apart": (CURVE, ((50, 1.5e-3, 0.55), (50, 1.5e-3, 0.45)), 1e-9,
                                   (1.0, 300.0, 1200.0, 2400.0)),
}


def netlist(curve, modules, current: float, times) -> str:
    """One case; currents of all modules are measured at each time."""
    line = ", ".join(f"{x}, {v}" for x, v in curve)
    parts = ["paralleled modules"]
    for k, (capacity, resistance, charge) in enumerate(modules):
        parts += [f"B{k} e{k} 0 V = pwl(v(z{k}), {line})", f"V{k} e{k} f{k} DC 0",
                  f"R{k} f{k} bus {resistance}", f"C{k} z{k} 0 {capacity * 3600} IC={charge}",
                  f"G{k} z{k} 0 cur='i(V{k})'"]
    parts += [f"I1 bus 0 DC {current}", f".tran 1 {max(times)} 0 1 UIC"]
    parts += [f".meas tran m{k}_{n} FIND i(V{k}) AT={t if t < max(times) else t - 1e-3}"
              for k in range(len(modules)) for n, t in enumerate(times)]
    return "\n".join([*parts, ".options reltol=1e-5", ".end", ""])


def run(name: str) -> list[list[float]]:
    """Currents of each module at each time."""
    curve, modules, current, times = CASES[name]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "circuit.cir"
        path.write_text(netlist(curve, modules, current, times))
        text = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True,
                              timeout=120, check=False).stdout
    found = dict(re.findall(r"^(m\d+_\d+)\s*=\s*([-+0-9.eE]+)", text, re.MULTILINE))
    if len(found) != len(modules) * len(times):
        raise SystemExit(f"{name}: no measurement in:\n{text[-1500:]}")
    return [[float(found[f"m{k}_{n}"]) for n in range(len(times))] for k in range(len(modules))]


def version() -> str:
    text = subprocess.run(["ngspice", "--version"], capture_output=True, text=True,
                          check=True).stdout
    match = re.search(r"ngspice-(\S+)", text)
    return f"ngspice {match.group(1)}" if match else "ngspice"


def main() -> None:
    """Record every case."""
    if not shutil.which("ngspice"):
        sys.exit("ngspice is not installed")
    values = {name: run(name) for name in CASES}
    RECORD.write_text(json.dumps({"engine": version(), "values": values}, indent=1) + "\n")
    print(f"{len(values)} cases recorded with {version()}")


if __name__ == "__main__":
    main()

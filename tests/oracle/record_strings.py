"""Run parallel strings and discharging capacitors in ngspice and record what it measures.

    python tests/oracle/record_strings.py

The plain tests read the recorded file and need no ngspice. All numbers are invented.
"""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.oracle.record_spice import run, version  # noqa: E402

RECORD = Path(__file__).with_name("strings_values.json")


def network(strings: list[tuple[float, float]], load: float, measure: str) -> str:
    """Strings on one bus; an absent string has no element. `measure` is one node or branch."""
    lines = ["parallel strings"]
    for k, (volts, ohms) in enumerate(strings):
        if ohms:
            lines += [f"V{k} s{k} 0 DC {volts}", f"R{k} s{k} p0 {ohms}"]
    lines += [f"IL p0 0 DC {load}", ".tran 1m 2m",
              f".meas tran end FIND {measure} AT=1m", ".end"]
    return "\n".join(lines) + "\n"


def joining(minutes: float) -> str:
    """Two strings as capacitors of 4000 F at 402 and 395 V, joined through 0.25 + 0.25 Ω."""
    at = 60.0 * minutes
    return f"""joining
C1 a 0 4000 IC=402
R1 a m 0.25
V1 m n 0
R2 n b 0.25
C2 b 0 4000 IC=395
.tran 1 {at + 10} 0 1 UIC
.meas tran end FIND i(V1) AT={at}
.end
"""


def emptying(ohms: float) -> str:
    """0.05 mF at 411 V empties through a branch."""
    return f"""emptying
C1 a 0 50u IC=411
R1 a m {ohms}
V1 m 0 0
.tran 0.02u {20 * 50e-6 * ohms} 0 0.02u UIC
.meas tran heat INTEG PAR('i(V1)*i(V1)') FROM=0 TO={20 * 50e-6 * ohms}
.end
"""


TWO = [(352.0, 0.10), (347.0, 0.12)]
ALIKE = [(352.0, 0.10), (347.0, 0.12), (347.0, 0.12)]
EVEN = [(350.0, 0.10), (350.0, 0.12), (350.0, 0.12)]
ONE_OPEN = [(352.0, 0.10), (0.0, 0.0), (350.0, 0.16)]

CASES = {
    "two strings, 150 A, bus": network(TWO, 150.0, "v(p0)"),
    "two strings, 150 A, first": network(TWO, 150.0, "par('-i(V0)')"),
    "two strings, no load, first": network(TWO, 0.0, "par('-i(V0)')"),
    "two strings, charging 60 A, second": network(TWO, -60.0, "par('-i(V1)')"),
    "three strings, middle open, 200 A, third": network(ONE_OPEN, 200.0, "par('-i(V2)')"),
    "three strings, others alike, 200 A, first": network(ALIKE, 200.0, "par('-i(V0)')"),
    "three even voltages, 200 A, first": network(EVEN, 200.0, "par('-i(V0)')"),
    "joining, after 1 s": joining(1 / 60),
    "joining, after 10 min": joining(10.0),
    "joining, after 60 min": joining(60.0),
    "emptying through 20 mohm": emptying(0.02),
    "emptying through 100 mohm": emptying(0.1),
}


def main() -> None:
    """Record every case."""
    if not shutil.which("ngspice"):
        sys.exit("ngspice is not installed")
    values = {name: run(netlist) for name, netlist in CASES.items()}
    RECORD.write_text(json.dumps({"engine": version(), "values": values}, indent=1) + "\n")
    print(f"{len(values)} values recorded with {version()}")


if __name__ == "__main__":
    main()

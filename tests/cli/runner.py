"""The command line run in process, as a user meets it."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass

from packcalc.cli import main


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        """What was told on standard error."""
        return self.err.splitlines()


def run(*args: str) -> Ran:
    """One command with its exit code, standard output and standard error."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    code: object = None
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(arg) for arg in args])
        except SystemExit as end:
            code = end.code
    assert isinstance(code, int), "a command ends by an exit code"
    return Ran(code, *(stream.buffer.getvalue().decode("utf-8", "replace")
                       for stream in (out, err)))


GOOD = """title = "scenario, invented"
[[modules]]
record = "nmc-6s-240ah"
count = 18
state_of_health = "90 %"
resistance_growth = 1.2
[inverter]
voltage_range = "240 V to 420 V"
absolute_maximum = "450 V"
full_power_from = "250 V"
[power]
peak = "90 kW"
peak_duration = "10 s"
continuous = "30 kW"
[regeneration]
power = "20 kW"
[battery]
coldest_start = "10 degC"
[management]
sense_fuse = "yes"
"""
FOUR = """[[modules]]
label = "6s 240 Ah NMC"
count = 18
[inverter]
voltage_range = "240 V to 420 V"
[power]
peak = "60 kW"
"""
# No layout reaches 600 V with eighteen modules of six cells.
NONE_FITS = GOOD.replace("240 V to 420 V", "600 V to 820 V").replace('"450 V"', '"850 V"') \
    .replace('"250 V"', '"620 V"')

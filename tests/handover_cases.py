"""Studies and the command line of the handover, for its tests. Every scenario is invented."""

from __future__ import annotations

import contextlib
import functools
import io

import click

from packcalc import api
from packcalc.cli_handover import register
from packcalc.door import Door
from packcalc.protection import ProtectionStudy
from packcalc.reading.readings_file import ReadingsFile, readings_from_text
from tests.cli.runner import GOOD, Ran

HEAD = "id,value,instrument,calibration_date,date,name,note\n"

WITH_LINK = GOOD.replace('full_power_from = "250 V"\n', '''full_power_from = "250 V"
dc_link_capacitance = "1 mF"
dc_link_tolerance = "20 %"
discharge_resistance = "20 kΩ"
''') + '''[precharge]
resistor_tolerance = "5 %"
level = "95 %"
'''
NO_BLEED = WITH_LINK.replace('discharge_resistance = "20 kΩ"\n', "")
STRINGS = GOOD.replace("count = 18", "count = 32")


@functools.lru_cache(maxsize=None)
def study_of(text: str = WITH_LINK, layout: str = "16S1P", arrangement: str = "") -> ProtectionStudy:
    """A study of a brief's text."""
    import tomllib

    return api.size_protection(api.make_brief(tomllib.loads(text)), layout,
                               arrangement=arrangement)


def readings_of(study: ProtectionStudy, rows: str) -> ReadingsFile:
    """Rows (without head) read against the plan of a study."""
    from packcalc.handover.commission import plan_of

    return readings_from_text(HEAD + rows, plan_of(study).dimensions)


def run(*args: str) -> Ran:
    """One command of the handover, in process."""

    @click.group(cls=Door, context_settings={"help_option_names": ["-h", "--help"]})
    def main() -> None:
        """For the tests."""

    register(main)
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    code: object = None
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(arg) for arg in args])
        except SystemExit as end:
            code = end.code
    assert isinstance(code, int)
    return Ran(code, *(stream.buffer.getvalue().decode("utf-8") for stream in (out, err)))

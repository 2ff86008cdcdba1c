"""Fault places inside the modules' row: one section, one module."""

from __future__ import annotations

from packcalc.findings import Finding
from packcalc.places.runs import Run
from packcalc.places.shared import Shared
from packcalc.places.stands import largest_section
from packcalc.protect.places import COVER, Loop

OWN_AND_PUSHED = ("what the other strings push in is asked of the faulted string's fuse and "
                  "contactors; what the shorted modules give themselves is ended by nobody")
SAME_CURRENT = ("the current of a section is that of the pack: fewer modules have less voltage and "
                "less resistance alike")


def section(shared: Shared) -> Loop:
    """The longest run of modules between two mid-pack breaks."""
    modules = largest_section(shared.brief, shared.series)
    run = shared.run(modules)
    notes = ("no mid-pack break is stated: the section is the whole pack",) \
        if modules == shared.series else ()
    return shared.loop(
        "section", f"one section between mid-pack breaks ({modules} modules in series)",
        feeds="the section itself, and the other strings" if shared.strung else
        "the section itself", voltage=run.voltage.called("highest voltage of one section"),
        highest=_strongest(shared, run), lowest=shared.feeds.module.lowest,
        inductance=shared.feeds.of_run(modules), resistance=run.resistance,
        sources=shared.pushing(run), inherent=True, remedies=(COVER,),
        notes=(OWN_AND_PUSHED if shared.strung else SAME_CURRENT, *notes))


def _strongest(shared: Shared, run: Run) -> Finding:
    """The run's highest current, or that of one module in it which gives more."""
    alone = shared.feeds.module.highest
    return run.current if run.pushed is not None or alone.number <= run.own.number else alone


def module(shared: Shared) -> Loop:
    """One module's terminals."""
    one, run, layout = shared.feeds.module, shared.run(1), shared.pack.layout
    group = layout.arrangement != "strings" and layout.parallel > 1
    return shared.loop(
        "module", "one module's terminals" + (", its group feeding with it" if group else ""),
        feeds="the group" if group else "the module itself, and the other strings"
        if shared.strung else "the module itself", voltage=one.voltage_full,
        highest=run.current if run.pushed else one.highest, lowest=one.lowest,
        inductance=shared.feeds.of_run(1), resistance=run.resistance, inherent=True,
        sources=shared.pushing(run), remedies=(COVER,),
        notes=("devices inside cells seldom carry a rated voltage: not counted on",
               *((OWN_AND_PUSHED,) if shared.strung else ())))

"""Some modules in series shorted at their ends: what they and the other strings give."""

from __future__ import annotations

from packcalc import electrical as el
from packcalc.feeds import Feeds
from packcalc.findings import Finding, trace
from packcalc.layout_findings import count
from packcalc.protect.faults import parallel_source_current, prospective_fault_current
from packcalc.protect.places import side_by_side
from packcalc.protect.strings import other_strings, pair_resistance
from packcalc.value import value_object, worked_once


@value_object
class Run:
    """Some modules in series, shorted at their ends: what they and the other strings give.

    Attributes:
        modules: how many.
        voltage: of the run, full.
        own: current that they give themselves.
        pushed: what all other strings push in; None without any.
        outside: resistance of the loop in which they push it; None without any.
        resistance: of both loops side by side, or of the modules alone.
    """

    modules: int
    voltage: Finding
    own: Finding
    pushed: Finding | None
    outside: Finding | None
    resistance: Finding

    @worked_once
    def current(self) -> Finding:
        """What both give together."""
        if self.pushed is None:
            return self.own
        return trace(parallel_source_current, "highest current of the run and the other strings",
                     first=self.own, second=self.pushed)


def run_of(feeds: Feeds, modules: int) -> Run:
    """Modules of one string shorted at their ends; the other strings push in as well."""
    one = count("as it stands", "P", 1)
    n = count("modules between the two ends of the fault", "n", modules)
    voltage = feeds.run_voltage(n, "highest voltage of the shorted modules")
    loop = trace(el.stack_resistance, "shorted modules, new and hot", series=n, parallel=one,
                 module_resistance=feeds.module.resistance_initial)
    own = trace(prospective_fault_current, "highest current of the shorted modules",
                voltage=voltage, resistance=loop)
    if feeds.string is None:
        return Run(modules, voltage, own, None, None, loop)
    beyond = _beyond(feeds, modules, one)
    pushed = trace(prospective_fault_current, "highest current pushed into the string",
                   voltage=voltage, resistance=beyond,
                   note="driven by the voltage that the shorted modules leave missing")
    return Run(modules, voltage, own, pushed, beyond, trace(
        side_by_side, "shorted modules beside the loop of the other strings", first=loop,
        second=beyond))


def _beyond(feeds: Feeds, modules: int, one: Finding) -> Finding:
    """The loop in which the other strings push: they, and what is left of the faulted one."""
    string, pack = feeds.string, feeds.pack
    assert string is not None
    beyond = trace(el.stack_resistance, "all other strings side by side, new and hot",
                   series=count("one string in series", "S", 1),
                   parallel=trace(other_strings, strings=pack.parallel),
                   module_resistance=string.resistance_initial)
    left = pack.layout.series - modules
    # Of unlike modules nobody knows which are left: none is counted, and the current errs high.
    if not left or len(pack.layout.parts) > 1:
        return beyond
    return trace(pair_resistance, "other strings, and what is left of the faulted one",
                 first=beyond, second=trace(
                     el.stack_resistance, "modules left in the faulted string",
                     series=count("modules left in it", "n", left),
                     parallel=one, module_resistance=feeds.module.resistance_initial))

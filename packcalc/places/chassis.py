"""Chassis faults: the first, which is silent, and a second one with the chassis as way back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from packcalc import electrical as el
from packcalc.brief import Branch
from packcalc.feeds import AHEAD, BUS, count, own_fuses, standing
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.layout_findings import string_cables
from packcalc.places.branches import loss_open, own_fuse, sources_of
from packcalc.places.leaks import leaks
from packcalc.places.runs import Run
from packcalc.places.shared import NO_FUSE_NOTE, Shared, with_sources
from packcalc.places.slowest import Stretch, one_conductor, slowest
from packcalc.places.stands import run_on_one_side
from packcalc.protect.branch_figures import SENSE, branch_loops, branch_lowest, branch_wires
from packcalc.protect.faults import fault_time_constant, prospective_fault_current
from packcalc.protect.places import (
    CONTACTOR,
    DOUBLE,
    MIDDLE_FUSE,
    MONITOR,
    OTHER_POLE_OF_BRANCH,
    POLE_FUSE,
    TRIP,
    WATCH,
    Device,
    Loop,
    Pair,
    chassis_pairs,
    drop_each,
)
from packcalc.protect.strings import pair_resistance
from packcalc.value import value_object

LONG_BRANCH = ("its lowest current is counted with both conductors of the branch in the loop: the "
               "way back through the chassis is not known")
NO_CURRENT = "insulation and Y capacitors limit it to milliamperes"
SEEN = {"none": "nobody detects it", "warns": "the insulation monitor warns",
        "opens the contactors": "the insulation monitor opens the contactors"}


def through_chassis(shared: Shared) -> Iterator[Loop]:
    """The first chassis fault and every kind of second one."""
    yield first_chassis(shared)
    yield from (second_chassis(shared, pair) for pair in chassis_pairs(shared.stands))
    if shared.strung:
        yield from (leaks(shared, fused) for fused in (True, False))
    yield from (chassis_branch(shared, standing(branch, shared.strung))
                for branch in shared.brief.branch
                if branch.kind != SENSE)


def first_chassis(shared: Shared) -> Loop:
    """One pole on the chassis: no current, and who detects it."""
    nothing = leaf("current of a first chassis fault", "I", "A", 0.0, "definition",
                   origin=Origin("floating pack"), note=NO_CURRENT)
    device = (Device("insulation_monitor", "insulation monitor", MONITOR),) \
        if shared.watched else ()
    return shared.loop(
        "chassis.first", "first chassis fault: no current", feeds="no loop",
        highest=nothing, lowest=nothing, devices=device, inherent=True,
        inductance=shared.feeds.pack_inductance, remedies=(WATCH,),
        why_nobody="nobody detects it: no insulation monitor is stated",
        notes=(f"{SEEN[shared.brief.path.insulation_monitor]}; it is silent, and makes the second "
               "one lethal",))


# -- a leak and a chafed cable --------------------------------------------------------------


def second_chassis(shared: Shared, pair: Pair) -> Loop:
    """A second chassis fault: modules between the two faults, chassis as the way back."""
    most = _most(shared, pair)
    runs = _Runs.of(shared, most, shared.traction_pole if pair.contactor else [])
    strongest = runs.strongest
    # Where no fuse stands in the loop a monitor must act on the first fault, if there is one.
    outside = shared.bus(None) if pair.contactor else {"notes": ()}
    outside["notes"] = (*(() if pair.fused else (NO_FUSE_NOTE,)), runs.words,
                        *outside["notes"])
    if "sources" in outside:
        outside["all_sources"] = with_sources(strongest.current, outside["sources"])
    return shared.loop(
        f"chassis.second.{pair.key}", f"second chassis fault: {pair.title}",
        feeds=f"modules between the two faults, 1 to {most}", lowest=_through_one_module(shared),
        highest=strongest.current.called("highest current of the second chassis fault"),
        voltage=shared.feeds.run_voltage(count("most modules between the two faults", "n", most),
                                         "highest voltage between the two faults"),
        inductance=runs.slow.inductance, resistance=runs.slow.resistance,
        devices=_devices(shared, pair, runs.breaks),
        inherent=not pair.contactor or (shared.watched and not pair.fused),
        remedies=pair.remedies, **outside)


def _through_one_module(shared: Shared) -> Finding:
    module = shared.feeds.module
    loop = trace(pair_resistance, "one module and the long hot way back",
                 first=module.resistance_long, second=_way_back(shared))
    return trace(prospective_fault_current, "lowest current of the second chassis fault",
                 voltage=module.voltage_empty, resistance=loop,
                 note="one module between the faults; a poor contact makes it lower still")


def _way_back(shared: Shared) -> Finding:
    """Most conductors of the loop: the traction cables, and those inside a string."""
    inside, cables = string_cables(shared.brief), shared.pack.cable_allowance
    return cables if inside is None else trace(
        el.resistance_sum, "traction cables and those inside a string", unit="mΩ", first=cables,
        second=inside)


def _devices(shared: Shared, pair: Pair,
             breaks: tuple[tuple[Finding, Finding], ...]) -> tuple[Device, ...]:
    fuses = tuple(replace(d, breaks=breaks) for d in _fuses_of(shared, pair))
    if not pair.contactor:
        return fuses
    alone = shared.one_pole
    return (*fuses, Device("pole_contactor", alone, CONTACTOR, breaks=breaks),
            Device("pole_cell_trip", f"{alone}, on the lowest cell", CONTACTOR, breaks=breaks,
                   drop=_drop(shared, _way_back(shared))))


def _fuses_of(shared: Shared, pair: Pair) -> tuple[Device, ...]:
    """Fuses that the loop passes wherever the leak is: those of its own pole, or the middle.

    A string fuse stands at one end of its string: it counts with the one fused pole alone.
    """
    if pair.fuse == MIDDLE_FUSE:
        return (shared.mid,)
    if pair.fuse != POLE_FUSE:
        return ()
    return (shared.main,) if "both" in shared.stands else shared.upstream


def _most(shared: Shared, pair: Pair) -> int:
    """Most modules that two faults on one side of the mid-pack fuse can have between them."""
    return run_on_one_side(shared.brief, shared.series) if pair.one_side else shared.series


@value_object
class _Slow:
    """Modules between two faults with the slowest loop that they can drive."""

    run: Run
    inductance: Finding
    resistance: Finding
    constant: Finding


@value_object
class _Runs:
    """One, some and all modules between the faults."""

    found: tuple[_Slow, ...]

    @classmethod
    def of(cls, shared: Shared, most: int, stretches: list[Stretch]) -> _Runs:
        """Each with the slowest loop of its modules and the conductors that may be in it.

        Args:
            most: modules between two faults.
            stretches: the pole's conductors outside the box, the chassis as way back.
        """
        found = []
        for modules in sorted({1, min(2, most), max(1, most // 4), max(1, most // 2), most}):
            run = shared.run(modules)
            inductance, resistance = slowest(shared.feeds.of_run(modules), run.resistance,
                                             shared.feeds.per_length, stretches)
            found.append(_Slow(run, inductance, resistance, trace(
                fault_time_constant, "time constant of the second chassis fault",
                inductance=inductance, resistance=resistance)))
        return cls(tuple(found))

    @property
    def breaks(self) -> tuple[tuple[Finding, Finding], ...]:
        """(voltage, time constant) of each."""
        return tuple((one.run.voltage, one.constant) for one in self.found)

    @property
    def strongest(self) -> Run:
        """The one with the highest current."""
        return max((one.run for one in self.found), key=lambda run: run.current.number)

    @property
    def slow(self) -> _Slow:
        """The one with the longest time constant."""
        return max(self.found, key=lambda one: one.constant.number)

    @property
    def words(self) -> str:
        """The slowest in words."""
        modules = self.slow.run.modules
        several = f"{modules} module{'s' if modules > 1 else ''} between the two faults"
        return (f"slowest of these loops: {several}, {self.slow.constant.shown} at "
                f"{self.slow.run.current.shown}; the way back is counted with the conductor's "
                "inductance and with no resistance")


# -- a leak and a chafed wire of a branch ---------------------------------------------------


def chassis_branch(shared: Shared, branch: Branch) -> Loop:
    """A mid-pack leak and a chafed wire of a branch: the pole without a fuse, if one has none.

    Of the pack's own fuses those count that stand in either pole.
    """
    runs = _Runs.of(shared, shared.series, [
        *(shared.traction_pole if branch.taps == BUS else ()),
        one_conductor(branch.length, branch.section)])
    highest = runs.strongest.current.called("highest current of the second chassis fault")
    given = sources_of(shared, branch, branch.length)
    given["all_sources"] = with_sources(highest, given["sources"])
    own = own_fuse(branch, given) if branch.fused_poles == "both" else ()
    behind = branch.taps != AHEAD and "both" in shared.stands
    hot, _ = branch_loops(branch.length, branch.section, branch.insulation_class)
    wires = _with_pole(shared, branch, branch_wires(hot, own_fuses(shared.brief, branch, 1)))
    fuses = (*own, *((shared.main,) if behind else ()))
    open_ = loss_open(shared, branch, own, 1)
    given["notes"] = (*given["notes"], *open_, runs.words,
                      *(() if fuses else (NO_FUSE_NOTE,)), LONG_BRANCH)
    contactors = _wire_contactors(shared, branch, wires, runs.breaks)
    trip = (TRIP,) if contactors else ()
    pole = "" if own else " in the pole without a fuse" if branch.fuse_rating.known \
        or branch.fuse_part else ", no fuse of its own stated"
    module = shared.feeds.module
    return shared.loop(
        f"chassis.second.branch.{branch.name}",
        f"second chassis fault: mid-pack leak and chafed wire of {branch.name}{pole}",
        **given | {"feeds": f"modules between the two faults, 1 to {shared.series}"},
        lowest=branch_lowest(module.voltage_empty, module.resistance_long, wires, bool(open_)),
        highest=highest, inductance=runs.slow.inductance, resistance=runs.slow.resistance,
        devices=(*(replace(d, breaks=runs.breaks) for d in fuses), *contactors),
        # Ahead of the contactors a monitor that opens them ends nothing; a fuse at the tap does.
        inherent=shared.watched and bool(contactors) and not fuses,
        remedies=(*(() if own else (OTHER_POLE_OF_BRANCH,)), *trip, WATCH, DOUBLE))


def _with_pole(shared: Shared, branch: Branch, wires: Finding) -> Finding:
    """The branch's part of the loop with what stands in one pole up to its tap.

    A main fuse in one pole alone may stand in this one: counted for the lowest current, and not
    as a device. A tap behind the contactors may be at the far end of the traction cables.
    """
    path, total = shared.brief.path, wires
    fuse = branch.taps != AHEAD and "pole" in shared.stands
    switched, inside = branch.taps == BUS or shared.strung, string_cables(shared.brief)
    for one, there in ((inside, inside is not None), (path.fuse_resistance, fuse),
                       (path.fuse_resistance, shared.strung),
                       (path.contactor_resistance, switched),
                       (shared.pack.cable_allowance, branch.taps == BUS)):
        if there and one.known and total.known:
            total = trace(el.resistance_sum, "branch with what stands in one pole before it",
                          unit="mΩ", first=total, second=one)
    return total


def _wire_contactors(shared: Shared, branch: Branch, wires: Finding,
                     breaks: tuple[tuple[Finding, Finding], ...]) -> tuple[Device, ...]:
    if branch.taps != BUS and not shared.strung:
        return ()
    alone = shared.one_pole
    return (Device("wire_contactor", alone, CONTACTOR, breaks=breaks),
            Device("wire_cell_trip", f"{alone}, on the lowest cell", CONTACTOR, breaks=breaks,
                   drop=_drop(shared, wires)))


def _drop(shared: Shared, external: Finding) -> Finding | None:
    """What the cells of one module keep of a fault that they feed through a resistance."""
    if not external.known:
        return None
    least = min(shared.brief.modules[p.entry].module.series for p in shared.pack.layout.parts)
    return trace(drop_each, external=external,
                 cells=count("cells in series of one module", "n", least))

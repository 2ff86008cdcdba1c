"""Chassis faults: the first, which is silent, and a second one with the chassis as way back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from packcalc import electrical as el
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.layout_findings import count, string_cables
from packcalc.places.leaks import leaks
from packcalc.places.runs import Run
from packcalc.places.shared import NO_FUSE_NOTE, Shared, with_sources
from packcalc.places.slowest import SLOWEST, Stretch, loop_constant, slowest
from packcalc.places.stands import MID_KEY, run_on_one_side, run_up_to_fuse
from packcalc.protect.faults import prospective_fault_current
from packcalc.protect.places import (
    ACTS,
    CONTACTOR,
    DOUBLE,
    MIDDLE_FUSE,
    MONITOR,
    POLE_FUSE,
    WATCH,
    Device,
    Loop,
    Pair,
    chassis_pairs,
    drop_each,
    side_by_side,
    way_round,
)
from packcalc.protect.strings import pair_resistance
from packcalc.value import replace, value_object

CELL_LOWEST = ("no part of the main path is sized for the lowest current of this place: a fuse "
               "that opens one cell's current opens in driving as well, so what is asked of the "
               "main fuse stays with whole modules between the faults")
CELL_TRIP = "an undervoltage trip on every cell, its level above what one cell keeps of this fault"
CELL_CASE = ("insulation between the cells and their case, and a second one between case and "
             "chassis")
CELL_REMEDIES = (ACTS, CELL_TRIP, CELL_CASE, DOUBLE)
NO_CURRENT = "insulation and Y capacitors limit it to milliamperes"
SEEN = {"none": "nobody detects it", "warns": "the insulation monitor warns",
        "opens the contactors": "the insulation monitor opens the contactors"}


def through_chassis(shared: Shared) -> Iterator[Loop]:
    """The first chassis fault and every kind of second one but those of `chafed`."""
    yield first_chassis(shared)
    yield from (second_chassis(shared, pair) for pair in chassis_pairs(shared.stands))
    yield inside_module(shared)
    if shared.strung:
        yield from (leaks(shared, fused) for fused in (True, False))


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
    least, most = _least(shared, pair), _most(shared, pair)
    stretches = shared.traction_pole if pair.contactor else []
    runs = Runs.of(shared, most, stretches, least)
    strongest = runs.strongest
    # Where no fuse stands in the loop a monitor must act on the first fault: one that warns opens
    # nothing.
    outside = shared.bus(None) | {"cables": shared.traction_names} if pair.contactor \
        else {"notes": ()}
    bare = shared.bare if pair.contactor else NO_FUSE_NOTE
    outside["notes"] = (*(() if pair.fused else (bare,)), runs.words,
                        *outside["notes"])
    if "sources" in outside:
        outside["all_sources"] = with_sources(strongest.current, outside["sources"])
    return shared.loop(
        f"chassis.second.{pair.key}", f"second chassis fault: {pair.title}",
        feeds=f"modules between the two faults, {least} to {most}",
        lowest=_through_fewest(shared, pair, least),
        highest=strongest.current.called("highest current of the second chassis fault"),
        voltage=shared.feeds.run_voltage(count("most modules between the two faults", "n", most),
                                         "highest voltage between the two faults"),
        inductance=runs.slow.inductance, resistance=runs.slow.resistance,
        devices=_devices(shared, pair, runs.breaks),
        passed=(*(replace(d, breaks=runs.breaks) for d in _main_perhaps(shared, pair)),
                *(() if pair.one_side else middle(shared, runs, stretches)),
                *(of_string(shared, runs.breaks) if pair.contactor else ())),
        inherent=not pair.contactor or (shared.opened_at_first and not pair.fused),
        perhaps=(*(d.key for d in _main_perhaps(shared, pair)),
                 *((MID_KEY,) if shared.mid_open and pair.contactor else ())),
        remedies=pair.remedies, **outside)


def _through_fewest(shared: Shared, pair: Pair, least: int) -> Finding:
    module, words = shared.feeds.module, "one module"
    voltage, resistance = module.voltage_empty, module.resistance_long
    if least > 1:
        words, n = f"{least} modules", count("fewest modules between the two faults", "n", least)
        voltage = trace(el.series_voltage, "lowest voltage between the two faults", series=n,
                        module_voltage=voltage)
        resistance = trace(el.stack_resistance, "fewest modules between the two faults", series=n,
                           parallel=count("as it stands", "P", 1), module_resistance=resistance)
    loop = trace(pair_resistance, f"{words} and the long hot way back",
                 first=resistance, second=way_back(shared, pair))
    return trace(prospective_fault_current, "lowest current of the second chassis fault",
                 voltage=voltage, resistance=loop,
                 note=f"{words} between the faults; a poor contact makes it lower still")


def way_back(shared: Shared, pair: Pair) -> Finding:
    """Most resistance of the loop outside the modules that feed it.

    The traction cables and those inside a string, the contacts of disconnect and connectors, and
    what stands in the chafed pole: its fuse, its contactor. A string's fuse stands at one end of
    it, whichever pole that is: no loop of strings is counted without. Two leaks inside the box
    pass none of these, and may have as much in their way: their current is counted no higher.
    """
    path, inside = shared.brief.path, string_cables(shared.brief)
    return in_a_row(shared.pack.cables_long, (
        (inside, inside is not None), (shared.pack.contacts, True),
        (path.fuse_resistance, pair.fused or shared.mid_open),
        (path.fuse_resistance, pair.fuse == POLE_FUSE and shared.own_mid),
        (path.fuse_resistance, shared.in_disconnect and not pair.one_side),
        (path.fuse_resistance, shared.strung),
        (path.contactor_resistance, pair.contactor)),
        "conductors and devices of the pole in the loop")


def in_a_row(first: Finding, others: Iterable[tuple[Finding | None, bool]],
              title: str) -> Finding:
    """A resistance with those that stand in the loop as well, each where it is known."""
    total = first
    for one, there in others:
        if there and one is not None and one.known and total.known:
            total = trace(el.resistance_sum, title, unit="mΩ", first=total, second=one)
    return total


def _devices(shared: Shared, pair: Pair,
             breaks: tuple[tuple[Finding, Finding], ...]) -> tuple[Device, ...]:
    fuses = tuple(replace(d, breaks=breaks) for d in _fuses_of(shared, pair))
    if not pair.contactor:
        return fuses
    alone = shared.one_pole
    return (*fuses, Device("pole_contactor", alone, CONTACTOR, breaks=breaks),
            Device("pole_cell_trip", f"{alone}, on the lowest cell", CONTACTOR, breaks=breaks,
                   drop=drop(shared, way_back(shared, pair), _least(shared, pair)),
                   falls=shared.module_falls))


def middle(shared: Shared, runs: Runs, stretches: list[Stretch]) -> tuple[Device, ...]:
    """A mid-pack fuse of its own, which the loop passes where the leak lies beyond it.

    Between it and either pole lie modules, and all of them are then in the loop; but for parallel
    strings, of which the others may leave the voltage of a single one.

    Args:
        shared: of the layout.
        runs: of the loop, wherever the leak is.
        stretches: as of `Runs.of`.
    """
    least = 1 if shared.strung else run_up_to_fuse(shared.brief, shared.series)
    beyond = runs if least == 1 else Runs.of(shared, shared.series, stretches, least)
    return tuple(replace(d, breaks=(beyond if d.key == MID_KEY else runs).breaks)
                 for d in shared.middle(chassis=True))


def of_string(shared: Shared,
              breaks: tuple[tuple[Finding, Finding], ...]) -> tuple[Device, ...]:
    """The fuse of a string, in a loop of its modules and of what the other strings push in.

    It stands at one end of its string: by the pole and the leak it carries any part of the
    current, or none. It may melt before others have cleared, and is not counted on.
    """
    return (replace(shared.string, breaks=breaks),) if shared.strung else ()


def _main_perhaps(shared: Shared, pair: Pair) -> tuple[Device, ...]:
    """The main fuse, where it may stand in the chafed pole and does not count there."""
    return shared.main_perhaps if pair.contactor and pair.fuse != POLE_FUSE else ()


def _fuses_of(shared: Shared, pair: Pair) -> tuple[Device, ...]:
    """Fuses that the loop passes wherever the leak is: those of its own pole, or the middle.

    That of a string counts with the one fused pole alone: elsewhere see `of_string`.
    """
    if pair.fuse == MIDDLE_FUSE:
        return (shared.mid,)
    if pair.fuse != POLE_FUSE:
        return ()
    return (shared.main,) if "both" in shared.stands else shared.upstream


def _least(shared: Shared, pair: Pair) -> int:
    """Fewest modules between the faults: from a pole past the mid-pack fuse all up to that."""
    beyond = pair.fuse == MIDDLE_FUSE and pair.contactor
    return run_up_to_fuse(shared.brief, shared.series) if beyond else 1


def _most(shared: Shared, pair: Pair) -> int:
    """Most modules that two faults on one side of the mid-pack fuse can have between them."""
    return run_on_one_side(shared.brief, shared.series) if pair.one_side else shared.series


@value_object
class Slow:
    """Modules between two faults with the slowest loop that they can drive."""

    run: Run
    inductance: Finding
    resistance: Finding
    constant: Finding


@value_object
class Runs:
    """Fewest, some and all modules between the faults."""

    found: tuple[Slow, ...]

    @classmethod
    def of(cls, shared: Shared, most: int, stretches: list[Stretch], least: int = 1) -> Runs:
        """Each with the slowest loop of its modules and the conductors that may be in it.

        Args:
            most, least: modules between two faults.
            stretches: the pole's conductors outside the box, the chassis as way back.
        """
        found = []
        for modules in sorted({max(least, n) for n in (1, min(2, most), most // 4, most // 2,
                                                       most)}):
            run = shared.run(modules)
            inductance, resistance = slowest(shared.feeds.of_run(modules), run.resistance,
                                             shared.feeds.per_length, stretches)
            found.append(Slow(run, inductance, resistance, loop_constant(
                inductance, resistance, "time constant of the second chassis fault")))
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
    def slow(self) -> Slow:
        """The one with the longest time constant."""
        return max(self.found, key=lambda one: one.constant.number)

    @property
    def words(self) -> str:
        """The slowest in words."""
        modules = self.slow.run.modules
        several = f"{modules} module{'s' if modules > 1 else ''} between the two faults"
        return (f"{SLOWEST}: {several}, {self.slow.constant.least}"
                f"{self.slow.constant.shown} at "
                f"{self.slow.run.current.shown}; the way back is counted with the conductor's "
                "inductance and with no resistance")


# -- a leak inside a module and a chafed cable ----------------------------------------------


def inside_module(shared: Shared) -> Loop:
    """A leak between two cells of a module, and a chafed cable of either pole.

    A fuse counts that stands in both poles; its resistance is in the lowest current wherever it
    stands.
    """
    pair = Pair("inside_module", "leak inside a module and chafed cable",
                POLE_FUSE if "both" in shared.stands else "", True, CELL_REMEDIES)
    most = replace(pair, fuse=POLE_FUSE if "pole" in shared.stands else "")
    asked = second_chassis(shared, pair)
    back, cell = way_back(shared, most), shared.feeds.cell
    beside = beside_one_cell(shared)
    loop = trace(pair_resistance, "one cell of a module and the long hot way back",
                 first=beside, second=back)
    # The drop of one cell: it carries all that the conductors take.
    drop = trace(drop_each, external=back, cells=count("cells between the faults", "n", 1)) \
        if back.known else None
    return replace(
        asked, feeds="cells between the two faults, 1 to all", sizes=False, inherent=True,
        lowest=shared.bounded(trace(
            prospective_fault_current, "lowest current of the second chassis fault",
            voltage=cell.voltage_empty, resistance=loop,
            note="one cell between the faults; a poor contact makes it lower still")),
        devices=tuple(replace(d, drop=drop) if d.drop is not None else d for d in asked.devices),
        perhaps=tuple(key for key in asked.perhaps if key == MID_KEY),  # covers answer it as told
        notes=(CELL_LOWEST, *asked.notes))


def beside_one_cell(shared: Shared) -> Finding:
    """One series element of a module; those beside its module feed it through its other cells.

    Of unlike modules the one with the most cells counts: it errs low.
    """
    cell, layout = shared.feeds.cell.resistance_long, shared.pack.layout
    if shared.strung or layout.parallel == 1:
        return cell
    most = max(shared.brief.modules[p.entry].module.series for p in layout.parts)
    return trace(side_by_side, "one cell with the modules beside its own", first=cell,
                 second=trace(
                     way_round, cell=cell, cells=count("cells in series of one module", "n", most),
                     beside=count("modules beside it", "P − 1", layout.parallel - 1)))


def drop(shared: Shared, external: Finding, modules: int = 1) -> Finding | None:
    """What the cells of some modules keep of a fault that they feed through a resistance."""
    if not external.known:
        return None
    least = min(shared.brief.modules[p.entry].module.series for p in shared.pack.layout.parts)
    words = "one module" if modules == 1 else f"{modules} modules"
    return trace(drop_each, external=external,
                 cells=count(f"cells in series of {words}", "n", modules * least))

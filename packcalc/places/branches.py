"""Fault places of branches and small wires, on either side of their fuses."""

from __future__ import annotations

from collections.abc import Iterator

from packcalc import electrical as el
from packcalc.brief import Branch, Brief
from packcalc.feeds import (
    AHEAD, BARE, BUS, hottest_class, may_be_fused, own_fuses, wherever,
)
from packcalc.findings import Finding, leaf, trace
from packcalc.places.shared import Shared, beyond, branch_fuse
from packcalc.places.slowest import pair
from packcalc.places.stands import PERHAPS
from packcalc.protect.branch_figures import (
    FUSE_LOSS,
    SENSE,
    at_most,
    branch_loops,
    branch_lowest,
    branch_wires,
    branch_withstand,
    open_length,
)
from packcalc.protect.faults import prospective_fault_current
from packcalc.protect.places import AT_TAP, COVER, FUSE, Device, Loop, Rival
from packcalc.value import replace

UNDESCRIBED = (("sense", "sense wires"), ("pre-charge", "pre-charge wires"),
               ("monitor", "monitor wires"))
SENSE_FEEDS = "one cell between neighbouring wires, up to all modules between far ones"
SENSE_FUSE = "sense_fuse"
OWN_FUSE = "a fuse of its own at the tap of the charge cable, in both poles"
CHARGING = ("fast-charge inlet", "charger")  # which of them is the inlet: the first that is told
LOSS_OPEN = ("the lowest current is at most what is printed: the branch fuse's own resistance "
             "takes from it, and is not known; ask for its power loss at rated current")
OPEN_TAP = ("where it leaves the main circuit is left open: the worst of each figure and answer "
            "counts, our assumption; each at its lowest")
OWN_INPUT = ("the load's own input capacitor stands at that end: it is in the sum with the wire's "
             "inductance, and empties into the fault there limited by its own resistance alone")
PRECHARGE_SIDE = ("the wire on the string's side of its + contactor is cut off by the contactor "
                  "of the other pole alone")


def along_branches(shared: Shared) -> Iterator[Loop]:
    """Each branch before and after its fuse, and the wires that nobody described."""
    for told in shared.brief.branch:
        several = wherever(shared.brief, told, shared.strung)
        for branch in several:
            yield one_of(several, branch, before(shared, branch))
            yield one_of(several, branch, after(shared, branch))
    kinds = {branch.kind for branch in shared.brief.branch}
    yield from (undescribed(shared, kind, title) for kind, title in UNDESCRIBED
                if kind not in kinds)


def one_of(several: tuple[Branch, ...], branch: Branch, loop: Loop) -> Loop:
    """A place of a branch; where its tap is left open they are told as one, the worst."""
    return loop if len(several) == 1 else replace(
        loop, rival=Rival(f"a tap {branch.taps}", OPEN_TAP, highest=True, one_wire=True))


def before(shared: Shared, branch: Branch) -> Loop:
    """Between the tap and the branch's own fuse."""
    sense = branch.kind == SENSE
    lowest = shared.feeds.cell.lowest if sense else trace(
        prospective_fault_current, f"lowest fault current at the tap of {branch.name}",
        voltage=shared.pack.rest_low_voltage, resistance=_up_to_tap(shared, branch))
    given = sources_of(shared, branch, None)
    if shared.strung and branch.kind == "pre-charge":
        given["notes"] = (*given["notes"], PRECHARGE_SIDE)
    return shared.loop(
        f"branch.{branch.name}.before", f"{branch.name}, before its fuse", lowest=lowest,
        inductance=shared.feeds.pack_inductance, devices=_at_tap(shared, branch),
        passed=() if sense else shared.middle(), inherent=True, common=_common(shared, branch),
        cables=_cables(shared, branch),
        remedies=(f"keep tap to fuse within 150 mm; {AT_TAP}", COVER), **given)


def after(shared: Shared, branch: Branch) -> Loop:
    """The far end of a branch, behind its own fuse if it has one."""
    sense = branch.kind == SENSE
    hot, _ = branch_loops(branch.length, branch.section, hottest_class(shared.brief, branch))
    wires = branch_wires(hot, own_fuses(shared.brief, branch, 2))
    cell = shared.feeds.cell
    source = (cell.voltage_empty, cell.resistance_long) if sense \
        else (shared.pack.rest_low_voltage, _up_to_tap(shared, branch))
    given = sources_of(shared, branch, branch.length)
    own, may = own_fuse(branch, given), fuse_perhaps(shared.brief, branch, given)
    open_ = loss_open(shared, branch, (*own, *may), 2)
    at_inlet = ends_at_inlet(shared.brief, branch)
    input_ = branch.kind not in BARE and branch.capacitance.value != 0.0
    given["notes"] = (*given["notes"], *open_, *((OWN_INPUT,) if input_ else ()))
    return shared.loop(
        f"branch.{branch.name}.after", f"{branch.name}, "
        + ("behind its fuse" if own else "far end, no fuse of its own stated"),
        lowest=branch_lowest(*source, wires, at_most(
            FUSE_LOSS if open_ else "", open_length(branch.length))), **slower_end(shared, branch),
        devices=(*own, *_at_tap(shared, branch)), passed=() if sense else (
            *may, *shared.middle(), *(shared.to_inlet() if at_inlet else ())),
        common=_common(shared, branch, wires),
        outside=_outside(shared, branch, wires),
        own_wire=stands(shared, branch),
        cables=_cables(shared, branch),
        remedies=("a fuse at the cell end of each wire",) if sense else
        (AT_TAP, "a smaller fuse or a thicker conductor",
         *(("a fuse that breaks the sum of every source",) if own else ()),
         *(shared.of_inlet if at_inlet else ())), **given)


def undescribed(shared: Shared, kind: str, title: str) -> Loop:
    """Small wires that every pack has and this brief says nothing of."""
    sense = kind == SENSE
    unknown = leaf("lowest fault current", "I_k", "A", None, "given",
                   note="length, section and fuse of these wires are not in the brief: add a "
                        f'[[branch]] with kind = "{kind}"')
    given = shared.into_the_box() | ({"feeds": SENSE_FEEDS} if sense else {})
    fused = sense and shared.brief.management.sense_fuse == "yes"
    device = (Device(SENSE_FUSE, "fuse at the cell end of each wire", FUSE,
                     sees=given["all_sources"]),) if fused else ()
    return shared.loop(
        f"wires.{kind}", f"{title}, not described in the brief", lowest=unknown,
        inductance=shared.feeds.pack_inductance, devices=device, inherent=True,
        remedies=("a fuse or fusible resistor at the cell end of each wire",) if sense
        else (AT_TAP,), why_nobody="no fuse of these wires is stated", **given)


def sources_of(shared: Shared, branch: Branch, length: Finding | None) -> dict:
    """Every source: ahead of the contactors that of the bus comes back through them, closed.

    Strings have no contactor between the main fuse and the inverter: all of it is bus. Behind a
    fuse in the box the link is as near as at its tap, which no entry puts nearer than the cables.
    """
    if branch.kind == SENSE:
        # Two neighbours have one cell between them, two far wires of one string all its modules,
        # the other strings and, from pole to pole, the bus.
        return shared.into_the_box() | {"feeds": SENSE_FEEDS}
    if branch.taps == AHEAD:
        return shared.into_the_box()
    # Its far end is the inlet; before its own fuse the charge cable lies between.
    at_inlet = length is not None and branch in charging(shared.brief)
    return shared.bus(length if branch.taps == BUS or shared.strung else shared.reach, at_inlet)


def inlets(brief: Brief) -> tuple[Branch, ...]:
    """Branches that end where a station plugs in: the charger's where no other is told."""
    found = [[b for b in brief.branch if b.kind == kind] for kind in CHARGING]
    return tuple(found[0] or found[1])


def charging(brief: Brief) -> tuple[Branch, ...]:
    """Branches that charge: each may lie behind the charge contactor and join a station's lead.

    Of a charger beside an inlet nobody said which of them it cuts off: the worse counts, both.
    """
    return tuple(b for b in brief.branch if b.kind in CHARGING)


def ends_at_inlet(brief: Brief, branch: Branch) -> bool:
    """Whether a branch, wherever it leaves, may end beyond the charge contactor."""
    return branch.name in {one.name for one in charging(brief)}


def slower_end(shared: Shared, branch: Branch) -> dict:
    """Inductance and least resistance of the slowest loop from just behind the tap to the far end.

    A tap behind the contactors may be at the far end of the traction cables.
    """
    cables = shared.traction if branch.taps == BUS else []
    return shared.slowest_loop(*cables, pair(branch.length, branch.section))


def own_fuse(branch: Branch, given: dict) -> tuple[Device, ...]:
    """The branch's own fuse, which every source of its place passes; empty without one."""
    if not (branch.fuse_rating.known or branch.fuse_part):
        return ()
    return (replace(branch_fuse(branch), sees=given.get("all_sources")),)


def fuse_perhaps(brief: Brief, branch: Branch, given: dict) -> tuple[Device, ...]:
    """A fuse of its own of which nobody told: it may melt, and is counted on for nothing."""
    if not may_be_fused(brief, branch):
        return ()
    fuse = branch_fuse(branch)
    return (replace(fuse, name=f"{fuse.name}{PERHAPS}", sees=given.get("all_sources")),)


def stands(shared: Shared, branch: Branch) -> Finding:
    """I²t that the conductor of a branch stands; at most, where nobody said its class."""
    return branch_withstand(branch.section, branch.insulation_class,
                            shared.brief.branch_open(branch, "insulation_class"))


def loss_open(shared: Shared, branch: Branch, fuses: tuple[Device, ...],
              wires: int) -> tuple[str, ...]:
    """Where fuses of the branch stand in a loop, or may, and nobody said what they lose."""
    return (LOSS_OPEN,) if fuses and own_fuses(shared.brief, branch, wires) is None else ()


def _at_tap(shared: Shared, branch: Branch) -> tuple[Device, ...]:
    """What stands before the tap."""
    if branch.kind == SENSE:
        return ()
    if branch.taps == AHEAD:
        return shared.inside
    switched = branch.taps == BUS or shared.strung
    return (*shared.upstream, *((shared.contactors,) if switched else ()))


def _cables(shared: Shared, branch: Branch) -> tuple[str, ...]:
    """A tap on the bus may be at the far end of the traction cables."""
    return shared.traction_names if branch.taps == BUS else ()


def _up_to_tap(shared: Shared, branch: Branch) -> Finding:
    return shared.pack.resistance_long if branch.taps == BUS else shared.feeds.resistance_box


def _outside(shared: Shared, branch: Branch, wires: Finding) -> Finding | None:
    """Most resistance between the modules and the far end: path, cables up to a tap on the bus."""
    up = beyond(shared.pack, wires)
    if branch.taps != BUS or up is None or not shared.pack.cables_long.known:
        return up
    return trace(el.resistance_sum, "path, cables and branch outside the modules", unit="mΩ",
                 first=up, second=shared.pack.cables_long)


def _common(shared: Shared, branch: Branch, own: Finding | None = None) -> Finding | None:
    """What the current of all strings passes: up to the tap, and along the branch itself.

    Sense wires leave a string within itself, before any of its devices.
    """
    if not shared.strung or branch.kind == SENSE:
        return None
    if branch.taps == "before the main fuse":
        return own
    up = shared.down_the_cables if branch.taps == BUS else shared.behind_main
    if own is None or not own.known or up is None:
        return up
    return trace(el.resistance_sum, "resistance that all strings pass up to a branch's end",
                 unit="mΩ", first=up, second=own)

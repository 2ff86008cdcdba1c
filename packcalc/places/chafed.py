"""A leak in the pack and a chafed wire beside the main path: a branch's, or a charge cable's."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from packcalc.brief import Branch, Brief, Route
from packcalc.contacts import contacts_open
from packcalc.feeds import AHEAD, BUS, hottest_class, may_be_fused, own_fuses, wherever
from packcalc.findings import Finding, leaf, trace, with_more
from packcalc.layout_findings import count, string_cables
from packcalc.places.branches import (
    CHARGING,
    OPEN_TAP,
    OWN_FUSE,
    charging,
    ends_at_inlet,
    fuse_perhaps,
    inlets,
    loss_open,
    own_fuse,
    sources_of,
    stands,
)
from packcalc.places.chassis import (
    CELL_CASE,
    CELL_LOWEST,
    CELL_REMEDIES,
    Runs,
    beside_one_cell,
    drop,
    in_a_row,
    middle,
    of_string,
)
from packcalc.places.shared import Shared, with_sources
from packcalc.places.slowest import UNTOLD, Stretch, one_conductor, route_conductor, route_loop
from packcalc.places.stands import PERHAPS
from packcalc.protect.branch_figures import (
    FUSE_LOSS,
    SENSE,
    at_most,
    branch_loops,
    branch_lowest,
    branch_wires,
    branch_withstand,
    only_at_most,
    open_length,
)
from packcalc.protect.places import (
    ACTS,
    CONTACTOR,
    DOUBLE,
    FUSE,
    OTHER_POLE_OF_BRANCH,
    TRIP,
    Device,
    Loop,
    Rival,
    drop_each,
)
from packcalc.value import replace, value_object

LONG_BRANCH = ("its lowest current is counted with both conductors of the {what} in the loop: the "
               "way back through the chassis is not known")
BRANCH_CELL = ("no branch fuse is sized for the lowest current of this place either: it would open "
               "in use as well; what is asked of it stays with whole modules between the faults")
EACH_BRANCH = "one cell between the faults, each branch at its lowest"
BEHIND = "a tap behind the contactors, with such a monitor and a trip on every cell"
NO_BRANCH = ("no [[branch]] describes this cable in full, its length and its section: it is "
             "counted as leaving behind the main fuse and the contactors, and a fuse of its own "
             "not as ending the fault")


OPEN_POLES = ("in how many poles its own fuse stands is left open: the worst of each figure and "
              "answer counts, our assumption; each at its lowest")
OPEN_BOTH = ("where it leaves the main circuit and in how many poles its own fuse stands are left "
             "open: the worst of each figure and answer counts, our assumption; each at its lowest")
LEFT_OPEN = {(False, False): "", (True, False): OPEN_TAP, (False, True): OPEN_POLES,
             (True, True): OPEN_BOTH}  # by whether tap and poles are
POLES = {"one": "a fuse in the other pole alone", "both": "a fuse in both poles"}
ASK_CABLE = ('no charge cable is described: add a cables.route with carries = "charging", and a '
             "branch of the charger or the inlet")


@value_object
class Wire:
    """What may chafe beside the main path.

    Attributes:
        key, name, what: of its place; its name; branch or cable.
        words: title of the place.
        given: sources and notes.
        own: its own fuses, where they stand in both poles.
        taps: where it begins, one of TAP_CHOICES.
        stretch: one conductor, at its least.
        hot: both conductors at their most, with its own fuses.
        open_: what is not known of those.
        stands: I²t that its conductor stands.
        cables: names of the routes that the fault runs through, or may.
        remedies: that would put a fuse of its own into the loop.
        to_inlet: whether it ends at the charge inlet.
        rival: how it is counted, in words, if nobody said where it leaves or in how many poles
            its fuse stands; else empty.
        left_open: which of these nobody said, in words.
        perhaps: a fuse of its own that may stand in this pole, where nobody said whether there
            is one.
    """

    key: str
    name: str
    what: str
    words: str
    given: dict[str, Any]
    own: tuple[Device, ...]
    taps: str
    stretch: Stretch
    hot: Finding
    open_: tuple[str, ...]
    stands: Finding | None
    cables: tuple[str, ...]
    remedies: tuple[str, ...]
    to_inlet: bool
    rival: str = ""
    left_open: str = ""
    perhaps: tuple[Device, ...] = ()


def chafed_wires(shared: Shared) -> Iterator[Loop]:
    """Each wire with modules between the faults, and all with one cell of a module."""
    wires = [*(wire for told in shared.brief.branch if told.kind != SENSE
               for wire in _of_branch(shared, told)),
             *(_of_route(shared, route) for route in undescribed_routes(shared.brief)),
             *(() if shared.brief.charge_cable_told else (_untold(shared),))]
    chafed = [_chafed(shared, wire) for wire in wires]
    yield from chafed
    yield from (_one_cell(shared, *one) for one in zip(wires, chafed, strict=True))


def undescribed_routes(brief: Brief) -> tuple[Route, ...]:
    """Charge cables that no branch describes in full: with as much length and no more copper."""
    told = described_cables(brief)
    return tuple(r for r in brief.cables.route
                 if r.carries == "charging" and r.name not in told)


def fused_inlet(brief: Brief, route: Route | None) -> Branch | None:
    """The branch whose fuse stands at the tap of a charge cable; not that of another cable."""
    fused = [b for b in charging(brief) if b.fuse_rating.known or b.fuse_part]
    told = described_cables(brief)
    own = told.get(route.name) if route is not None else None
    if own in fused:
        return own
    others = tuple(told.values())
    return next((b for b in inlets(brief) if b in fused and b not in others), None)


def perhaps_fused_inlets(brief: Brief, route: Route | None) -> tuple[Branch, ...]:
    """Branches whose fuse at the tap of a charge cable nobody spoke of; of none of another cable.

    One that `fused_inlet` finds ends the fault; each of these may melt before.
    """
    told = described_cables(brief)
    own = told.get(route.name) if route is not None else None
    others = tuple(b for b in told.values() if b is not own)
    return tuple(b for b in charging(brief) if may_be_fused(brief, b) and b not in others
                 and (b is own or b in inlets(brief)))


def unspoken_fuse(brief: Brief, route: Route | None, given: dict) -> tuple[Device, ...]:
    """A fuse of a charge cable that no branch describes or may: nobody said whether it has one."""
    if route is None or _branches_of(brief, route):
        return ()
    return (Device(f"branch_fuse.{route.name}", f"fuse of {route.name}{PERHAPS}", FUSE,
                   sees=given.get("all_sources")),)


def _branches_of(brief: Brief, route: Route) -> tuple[Branch, ...]:
    """Branches that charge and may leave by a charge cable: none that describes another one."""
    others = tuple(b for name, b in described_cables(brief).items() if name != route.name)
    return tuple(b for b in charging(brief) if b not in others)


def described_cables(brief: Brief) -> dict[str, Branch]:
    """Charge cables by name, each with the branch that describes it; one of its name first."""
    left = sorted((b for b in brief.branch if b.kind in CHARGING),
                  key=lambda b: CHARGING.index(b.kind))
    found: dict[str, Branch] = {}
    for route in (r for r in brief.cables.route if r.carries == "charging"):
        own = next((b for b in sorted(left, key=lambda b: b.name != route.name)
                    if _describes(b, route, brief)), None)
        if own is not None:
            left.remove(own)
            found[route.name] = own
    return found


def cables_of(brief: Brief, branch: str) -> tuple[str, ...]:
    """The charge cable that a branch of this name describes; empty where it describes none."""
    return tuple(name for name, own in described_cables(brief).items() if own.name == branch)


def _describes(branch: Branch, route: Route, brief: Brief) -> bool:
    area, cables = route_conductor(brief, route)  # one that is not known may be thinner
    if not (branch.length.known and branch.section.known and route.length.known
            and area.known) or brief.branch_open(branch, "length") or open_length(route.length):
        return False
    whole, nearly = area.number * cables.number, 1.0 + 1e-6
    return branch.length.number * nearly >= route.length.number \
        and branch.section.number <= whole * nearly


def _of_branch(shared: Shared, told: Branch) -> Iterator[Wire]:
    """A branch at every tap where it may leave, with its fuse in as many poles as it may stand."""
    taps = wherever(shared.brief, told, shared.strung)
    fused = _poles(shared.brief, told)
    words = LEFT_OPEN[len(taps) > 1, len(fused) > 1]
    for branch in taps:
        for poles in fused:
            rival = (*((f"a tap {branch.taps}",) if len(taps) > 1 else ()),
                     *((POLES[poles],) if len(fused) > 1 else ()))
            yield replace(_wire(shared, replace(branch, fused_poles=poles)),
                          rival=", ".join(rival), left_open=words)


def _poles(brief: Brief, branch: Branch) -> tuple[str, ...]:
    """In how many poles the fuse of a branch stands; each answer where nobody said.

    Neither is the worse for all: one in this pole is asked to open it, and takes from the current;
    without one its contactor alone meets it.
    """
    if not brief.branch_open(branch, "fused_poles"):
        return (branch.fused_poles,)
    stated = branch.fuse_rating.known or branch.fuse_part
    return ("one", "both") if stated else ("both",)  # one that may stand there may be in either


def _wire(shared: Shared, branch: Branch) -> Wire:
    """A branch, its tap and the poles of its fuse as they are counted."""
    given = sources_of(shared, branch, branch.length)
    fuse, may = own_fuse(branch, given), fuse_perhaps(shared.brief, branch, given)
    own, perhaps = (fuse, may) if branch.fused_poles == "both" else ((), ())
    hot, _ = branch_loops(branch.length, branch.section, hottest_class(shared.brief, branch))
    pole = "" if own else " in the pole without a fuse" if branch.fuse_rating.known \
        or branch.fuse_part else ", no fuse of its own stated"
    return Wire(f"branch.{branch.name}", branch.name, "branch",
                f"mid-pack leak and chafed wire of {branch.name}{pole}", given, own, branch.taps,
                one_conductor(branch.length, branch.section),
                branch_wires(hot, own_fuses(shared.brief, branch, 1) if own else None),
                loss_open(shared, branch, (*own, *perhaps), 1),
                stands(shared, branch),
                (*(shared.traction_names if branch.taps == BUS else ()),
                 *cables_of(shared.brief, branch.name)),
                () if own else (OTHER_POLE_OF_BRANCH,),
                ends_at_inlet(shared.brief, branch), perhaps=perhaps)


def _of_route(shared: Shared, route: Route) -> Wire:
    """A charge cable; the fuse of an inlet's branch may stand in it: it takes, and ends nothing."""
    given = shared.bus(route.length, at_inlet=True)
    given["notes"] = (*given["notes"], NO_BRANCH)
    area, cables = route_conductor(shared.brief, route)
    fuses = (own_fuses(shared.brief, b, 2) for b in charging(shared.brief))
    copper = route_loop(shared.brief, route, shared.routes)
    hot = with_more(branch_wires(copper, max((f for f in fuses if f is not None),
                                             key=lambda f: f.number, default=None)),
                    copper.untold_more)
    perhaps, open_ = _perhaps_in_cable(shared, route, given)
    return Wire(f"route.{route.name}", route.name, "cable",
                f"mid-pack leak and chafed cable of {route.name}", given, (), BUS,
                one_conductor(route.length, area, cables), hot, open_,
                branch_withstand(area, route.insulation_class) if area.known else None,
                (*shared.traction_names, route.name), (OWN_FUSE,), True, perhaps=perhaps)


def _perhaps_in_cable(shared: Shared, route: Route,
                      given: dict) -> tuple[tuple[Device, ...], tuple[str, ...]]:
    """(fuses that may stand in either pole of a charge cable, what is not known of them)."""
    brief = shared.brief
    unspoken = unspoken_fuse(brief, route, given)
    fused = [(b, (*own_fuse(b, given), *fuse_perhaps(brief, b, given)))
             for b in _branches_of(brief, route)
             if b.fused_poles == "both" or brief.branch_open(b, "fused_poles")]
    lost = [words for b, fuses in fused for words in loss_open(shared, b, fuses, 2)]
    return ((*(one for _, fuses in fused for one in fuses), *unspoken),
            tuple(dict.fromkeys(lost)))


def _untold(shared: Shared) -> Wire:
    """The charge cable of a brief that says nothing of one: its range is open."""
    given = shared.bus(None, at_inlet=True)
    given["notes"] = (*given["notes"], NO_BRANCH)
    return Wire("charge_cable", "charge cable", "cable",
                "mid-pack leak and chafed charge cable, not described in the brief", given, (), BUS,
                UNTOLD,
                leaf("loop resistance of the charge cable", "R_loop", "mΩ", None, "given",
                     note=ASK_CABLE), (), None, shared.traction_names, (OWN_FUSE,), True)


# -- modules between the two faults ---------------------------------------------------------


def _chafed(shared: Shared, wire: Wire) -> Loop:
    """A mid-pack leak and a chafed wire: the pole without a fuse, if one has none.

    Of the pack's own fuses those count that stand in either pole.
    """
    stretches = [*(shared.traction_pole if wire.taps == BUS else ()), wire.stretch]
    runs = Runs.of(shared, shared.series, stretches)
    highest = runs.strongest.current.called("highest current of the second chassis fault")
    given = wire.given | {"all_sources": with_sources(highest, wire.given["sources"])}
    behind = wire.taps != AHEAD and "both" in shared.stands
    main = shared.main_perhaps if wire.taps != AHEAD else ()
    fuses = tuple(replace(one, sees=given["all_sources"]) for one in wire.own) + (
        (shared.main,) if behind else ())
    given["notes"] = (*given["notes"], *wire.open_, runs.words,
                      *(() if fuses else (shared.bare,)), LONG_BRANCH.format(what=wire.what))
    wires = _with_pole(shared, wire)
    contactors = _contactors(shared, wire, wires, runs.breaks)
    module = shared.feeds.module
    return shared.loop(
        f"chassis.second.{wire.key}", f"second chassis fault: {wire.words}",
        **given | {"feeds": f"modules between the two faults, 1 to {shared.series}"},
        lowest=_lowest(module.voltage_empty, module.resistance_long, wires, at_most(
            FUSE_LOSS if wire.open_ else "", open_length(wire.stretch.length),
            wire.hot.untold_more,
            "" if wire.taps == BUS else contacts_open(shared.brief))),  # on the bus by its cables
        highest=highest, inductance=runs.slow.inductance, resistance=runs.slow.resistance,
        own_wire=wire.stands, cables=wire.cables,
        devices=(*(replace(d, breaks=runs.breaks) for d in fuses), *contactors),
        passed=(*(replace(d, sees=given["all_sources"], breaks=runs.breaks)
                  for d in wire.perhaps), *(replace(d, breaks=runs.breaks) for d in main),
                *middle(shared, runs, stretches),
                *of_string(shared, runs.breaks),
                *(shared.to_inlet(runs.breaks) if wire.to_inlet else ())),
        # Ahead of the contactors a monitor that opens them ends nothing; a fuse at the tap does.
        inherent=shared.opened_at_first and bool(contactors) and not fuses,
        perhaps=tuple(d.key for d in (*wire.perhaps, *main)),
        rival=Rival(wire.rival, wire.left_open, highest=True, one_wire=True) if wire.rival
        else None,
        remedies=(*wire.remedies, *((TRIP,) if contactors else ()),
                  *(shared.of_inlet if wire.to_inlet else ()), ACTS, DOUBLE))


def _lowest(voltage: Finding, resistance: Finding, wires: Finding, bound: str) -> Finding:
    """Lowest current of the wire; one without value says what to find of the wire."""
    found = branch_lowest(voltage, resistance, wires, bound)
    return found if found.known or not wires.note else found.called(note=wires.note)


def _with_pole(shared: Shared, wire: Wire) -> Finding:
    """The wire's part of the loop with what stands in one pole up to its tap.

    A main fuse in one pole alone may stand in this one: counted for the lowest current, and not
    as a device. A tap behind the contactors may be at the far end of the traction cables.
    """
    path = shared.brief.path
    fuse = wire.taps != AHEAD and "pole" in shared.stands
    switched, inside = wire.taps == BUS or shared.strung, string_cables(shared.brief)
    return in_a_row(wire.hot, (
        (inside, inside is not None), (shared.pack.contacts, True), (path.fuse_resistance, fuse),
        (path.fuse_resistance, shared.in_disconnect),
        (path.fuse_resistance, shared.strung), (path.contactor_resistance, switched),
        (shared.pack.cables_long, wire.taps == BUS)),
        f"{wire.what} with what stands in one pole before it")


def _contactors(shared: Shared, wire: Wire, wires: Finding,
                breaks: tuple[tuple[Finding, Finding], ...]) -> tuple[Device, ...]:
    if wire.taps != BUS and not shared.strung:
        return ()
    alone = shared.one_pole
    return (Device("wire_contactor", alone, CONTACTOR, breaks=breaks),
            Device("wire_cell_trip", f"{alone}, on the lowest cell", CONTACTOR, breaks=breaks,
                   drop=drop(shared, wires), falls=shared.module_falls))


# -- one cell between them ------------------------------------------------------------------


def _one_cell(shared: Shared, wire: Wire, asked: Loop) -> Loop:
    """A leak between two cells of a module: one place for all wires.

    The fault of `_chafed`, as asked, with one cell between; a main fuse in both poles is in it.
    """
    switched = any(d.kind == CONTACTOR for d in asked.devices)
    wires = _with_pole(shared, wire)
    # The drop of one cell: it carries all that the conductors take.
    each = trace(drop_each, external=wires, cells=count("cells between the faults", "n", 1)) \
        if wires.known else None
    return replace(
        asked, key="chassis.second.inside_module_branch", rival=Rival(
            f"{wire.name}, {wire.rival}" if wire.rival else wire.name, EACH_BRANCH,
            bool(wire.rival)),
        title="second chassis fault: leak inside a module and chafed "
              + ("branch wire" if wire.what == "branch" else "charge cable"),
        feeds="cells between the two faults, 1 to all", sizes=False, inherent=True, perhaps=(),
        lowest=_lowest(shared.feeds.cell.voltage_empty, beside_one_cell(shared), wires,
                       asked.lowest.note if only_at_most(asked.lowest) else ""),
        devices=tuple(replace(d, drop=each) if d.drop is not None else d for d in asked.devices),
        notes=(CELL_LOWEST, BRANCH_CELL, *asked.notes),
        remedies=(*wire.remedies, *(CELL_REMEDIES if switched else (BEHIND, CELL_CASE, DOUBLE))))

"""Maintenance: intervals, readings to repeat, and what to do after something happened."""

from __future__ import annotations

from packcalc.bench.damage import APART, APART_READ
from packcalc.findings import Finding
from packcalc.handover.commission import plan_of
from packcalc.handover.expected import Expected
from packcalc.handover.figures import Figures, discharge_open, discharge_time
from packcalc.handover.inside import (
    across_taps,
    charge_poles,
    disconnect_of,
    division_open,
    live_ahead,
    may_part,
    over_disconnect,
    sense_wires,
    up_to,
)
from packcalc.handover.parted import open_after, taken_out
from packcalc.handover.stages_low import PACK_ON
from packcalc.handover.stages_strings import before_joining
from packcalc.handover.trend_rules import TrendRule, trend_rule
from packcalc.handover.voltage_class import called
from packcalc.protect.insulation import NOT_KNOWN, or_more
from packcalc.protection import ProtectionStudy
from packcalc.value import value_object


@value_object
class Task:
    """Something that is done at intervals; `ground` says where the interval comes from."""

    interval: str
    what: str
    ground: str
    source: str = ""


@value_object
class Event:
    """What to do after something happened: in order, and when it may run again."""

    key: str
    title: str
    actions: tuple[str, ...]
    again: str


@value_object
class Repeat:
    """Readings of one kind that are taken again."""

    rule: TrendRule
    expected: tuple[Expected, ...]

    @property
    def ids(self) -> str:
        """The readings that the rule covers, as a pattern where they are several."""
        return self.expected[0].id if len(self.expected) == 1 else f"{self.rule.prefix}*"


@value_object
class Maintenance:
    """Everything of `packcalc maintain`."""

    figures: Figures
    tasks: tuple[Task, ...]
    repeats: tuple[Repeat, ...]
    events: tuple[Event, ...]
    chains: tuple[Finding, ...]
    ahead: str


PRACTICE = "common practice"
TESTER = 500.0  # V; the usual step of an insulation tester, common practice
OURS = "our rule"

WELD = Task("once a year", "weld test with the fall of the link, from the same voltage and with "
            "the branches unplugged as at the first", OURS)
# Closed onto its battery the link never stands above 60 V: no fall is timed.
WELD_ALONE = Task("once a year", "weld test", OURS)
INLET = Task("once a year", "charge contactor proven open, bus live, plug out: each pole that it "
             "cuts off, by meter and by the controller, whose log must show the same of each run "
             "and before each charge", OURS)
TASKS = (
    Task("before each drive", "look: warning lamps, leaks, smell, cable and plug whole", PRACTICE),
    Task("before each use", "rubber gloves: look, air-test, leather over them", "law, read",
         "cfr-29-1910-137"),
    Task("every 6 months", "rubber gloves to the test house; never used beyond twelve months "
         "after their test", "law, read", "cfr-29-1910-137"),
    Task("every month", "press the emergency stop with the car standing; contactors must drop",
         OURS),
    Task("every 3 months", "isolation of both poles; pre-charge time from the log; cells an hour "
         "after a full charge", OURS),
    Task("every 3 months", "isolation monitor with its test resistor, both poles", OURS,
         "formula-sae-rules-2014"),
    Task("after rain, washing or a coolant leak", "isolation of both poles again",
         "inspection sheets, read", "formula-sae-inspection"),
    Task("every 6 months", "pack resistance from the sag; temperatures of the joints at the same "
         "current", OURS),
    Task("once a year", "pack open: every link measured, torque marks, bolts, covers, vents, "
         "seals, straps, sense leads; dead tests again; pre-charge and discharge from the "
         "supply again", OURS),
    WELD,
    Task("once a year", "crash input, cut loop, interlock of each cover, plug lock: each once",
         OURS),
    Task("once a year", "capacity of the weakest module's group from a full charge and a slow "
         "discharge, if the monitor cannot tell it", OURS),
    Task("every calibration year", "meters and wrench to their calibration", PRACTICE),
    Task("at every change", "file for review again; marks whose inputs changed are void", OURS),
)


def maintenance(study: ProtectionStudy) -> Maintenance:
    """Intervals, readings and actions for one layout."""
    figures = Figures(study)
    fall = discharge_time(study)
    chains = (study.pack.highest_voltage, figures.isolation_of_battery, *((fall,) if fall else ()))
    welds = (WELD if figures.link_above_border else WELD_ALONE,
             *((INLET,) if charge_poles(study) else ()))
    tasks = tuple(one for t in TASKS for one in (welds if t is WELD else (t,)))
    return Maintenance(figures, tasks, _repeats(study), _events(figures), chains, ahead_live(study))


def _repeats(study: ProtectionStudy) -> tuple[Repeat, ...]:
    found: dict[str, list[Expected]] = {}
    rules: dict[str, TrendRule] = {}
    for expected in plan_of(study).expected():
        limits = trend_rule(expected.id)
        if limits is not None:
            found.setdefault(limits.prefix, []).append(expected)
            rules[limits.prefix] = limits
    return tuple(Repeat(rules[key], tuple(items)) for key, items in found.items())


def _waiting(study: ProtectionStudy) -> str:
    fall, lacking = discharge_time(study), discharge_open(study)
    if called(study.pack).class_a:
        words = "the link never stands above 60 V, but burns until it has discharged"
    elif fall is None:
        words = "wait: how long the link stays charged is not known"
    elif lacking:
        words = (f"wait far longer than {fall.shown} for the link: it may fall sooner or stay "
                 f"far longer ({'; '.join(lacking)})")
    else:
        words = f"wait {fall.shown} and longer for the link"
    return f"{words}; prove dead with a meter"


def _events(figures: Figures) -> tuple[Event, ...]:
    study = figures.study
    need, wait = or_more(figures.isolation_of_battery), _waiting(study)
    out, last, cable = taken_out(study), _closed_last(study), called(figures.pack).cable
    ahead = ahead_live(study)
    live = f"{ahead}; {wait}"
    joining = before_joining(figures)
    again = f"{joining}; " if joining else ""
    return (
        Event("crash", "After a crash, however small", (
            "Out and away; uphill and upwind; tell the operator that it is an electric vehicle. "
            "Smoke, hiss or a sweet smell: fire brigade, nobody near.",
            f"Cut loop pulled, key away, nobody touches {cable}; {live}.",
            f"Outdoors, at least {APART} from anything that burns, watched for 30 days; "
            f"{APART_READ}.",
            f"Then: isolation of both poles, contactors open, at least {need}; box for dents, "
            "leaks, loose fixings; every link and every module's voltage.",
            "A box that was dented or moved in its mounts is opened; a dented or leaking module "
            "is scrapped, and the others of its section go back to the bench."),
            "all dead tests and every stage of the first energising again"),
        Event("flood", "After water reached the box", (
            "Do not charge, do not drive, do not open at once: water in a pack makes gas and "
            f"shorts, and {up_to(figures.pack)} stands in it. Outdoors, away from anything that "
            "burns.",
            "Salt water: count every module that it reached as lost (common practice).",
            f"Fresh water: {out}; then sense leads off, then sections apart; dry, look for tide "
            f"marks and green copper; isolation of every module {_tested_at(figures)}, then a "
            "month at rest with voltages written down."),
            "isolation as when new, no module lost charge, then all stages again"),
        Event("fuse", "After a fuse has opened", (
            f"Never replace it first: find what it opened on. Contactors open, 12 V off, {out}; "
            f"{live}. Both poles, both sides, isolation, every load on its own.",
            "The contactors have carried that fault. Dead, with the fuse still out: resistance "
            "across each open contact. No weld test yet: with a fuse open a welded contact reads "
            "0 V too. Replace them where the fault was above what their sheet allows.",
            "All links, for heat marks. Replace every fuse that carried the fault, also the ones "
            "that still conduct; same part number, never a size up.",
            "Whole again, through the pre-charge only, then the weld test and the resistance of "
            "each closed contact."),
            "cause found and written down; the dead tests first (resistance across each open "
            "contact, isolation of the load side: the contactors carried a fault), then every "
            "later stage of the first energising in its order"),
        Event("storage", "Before and after long storage", (
            f"Charge of 30 to 50 % (common practice); {out}; 12 V battery off, so that "
            "nothing draws on the pack unseen; dry, above freezing where possible.",
            "Every 3 months: voltage of the pack and lowest cell; charge again before the lowest "
            "cell nears its lower limit (our rule).",
            "Back in use: look, isolation, every cell; a cell that fell apart from its like goes "
            "with its module to the bench. Never charge a cell that stood below its lower limit.",
            *(_whole_again(study) if may_part(study) else ())),
            "isolation and cells as before; pre-charge and weld test"
            + (f"; {joining}" if joining else "")),
        Event("module", "Replacing a module", (
            "A full bench sheet for the new one first; packcalc assign says what its place "
            "asks for; never a stranger of other chemistry or cell count.",
            f"Contactors open, 12 V off, charger away; {out}; dead outside the box, proven by a "
            f"meter, but for this: {ahead}.",
            "Sense leads off next, live as they are, of every monitor that spans the joints to be "
            "opened; no power link before the sense leads that span it.",
            "Then sections apart as on the build sheet read backwards; one joint open at a time.",
            "Rest voltage matched before it is joined, as packcalc assign says; on a flat curve "
            "(LFP) voltage tells nothing: both charged fully.",
            f"Back: power links inside its section first, torque and mark; every cell tap measured "
            f"at the loose connector; sense leads in, one monitor at a time, lowest cells first; "
            f"{last} only with every monitor plugged and silent.",
            *_whole_again(study),
            "As-built record: mark, serial, date, who; its marks under the signature are void."),
            "all links of its section measured, dead tests; the new module by itself and each part "
            "end to end in their bands (one put in reversed shows there), every sense tap in "
            "order; voltage of the whole and isolation of both poles with the contactors open; "
            f"then through the pre-charge only; weld test; {again}balance, first charge attended"),
    )


def ahead_live(study: ProtectionStudy) -> str:
    """What stays live outside the box with the contactors open, and after the disconnect."""
    names, wires = ", ".join(live_ahead(study)), ", ".join(sense_wires(study))
    part = disconnect_of(study)
    if part is None:
        return "live whatever is switched off: " + \
            f"{', '.join(filter(None, (names, wires)))}, {across_taps(study)}"
    tag, over = part.tag.partition(".")[0], over_disconnect(study)
    if over or division_open(study):
        why = f"sense leads reach over {tag} (monitor {', '.join(map(str, over))})" if over else \
            f"whether sense leads reach over {tag} is not known"
        return (f"{why}: until those are out, live with {tag} out too: "
                f"{', '.join(filter(None, (names, wires)))}, {up_to(study.pack)}")
    until = f"ahead of the contactors, live until {tag} is out: {names}; " if names else ""
    return f"{until}live at all times, with {tag} out too: {wires}, {across_taps(study)}"


def _tested_at(figures: Figures) -> str:
    """Voltage of the insulation tester: never below what the pack can have."""
    highest = figures.pack.highest_voltage
    if highest.number <= TESTER:
        return f"at 500 V{', or more, ' + NOT_KNOWN if highest.at_least else ''}"
    more = f" ({or_more(highest)})" if highest.at_least else ""
    return f"at {highest.shown} or above{more}, the module's maker permitting"


def _whole_again(study: ProtectionStudy) -> tuple[str, ...]:
    """How a parted pack is closed: in the order of its first day."""
    if not open_after(study):
        return ()
    return (f"Whole again only in the order of the stage \"{PACK_ON}\": every monitor plugged and "
            "silent, contactors open, across the open place near nothing, "
            f"{_closed_last(study)} after that; voltage and isolation of the whole before any "
            "contactor closes.",)


def _closed_last(study: ProtectionStudy) -> str:
    return "disconnect and the last link" if disconnect_of(study) else "the last link"

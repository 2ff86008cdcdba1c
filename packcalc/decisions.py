"""What a reviewer decides on: one line a decision, in order of consequence.

A decision has a stable id (its part and its own name), the figures or the check it rests on
and a digest of everything under it. A mark given to a decision holds as long as that digest
does; a change elsewhere leaves it alone.
"""

from __future__ import annotations

import hashlib
import re
from collections import deque
from collections.abc import Iterable, Iterator, Sequence

from packcalc.brief import Brief, Unknown
from packcalc.cable_rules import next_gauge, section_words
from packcalc.checks import (
    CAUTION,
    FAIL,
    NOT_EVALUATED,
    PASS,
    STAGES,
    Candidate,
    Check,
    Item,
    margin,
    worst,
    named_title,
)
from packcalc.findings import AT_LEAST, BASES, Finding, Origin
from packcalc.marks import SIGN
from packcalc.measured import Measured
from packcalc.protect.branch_figures import told_with_bound
from packcalc.protect.places import FaultPlace, place_words
from packcalc.protection import STRINGS_TITLE, ProtectionStudy
from packcalc.value import replace, value_object

MOST_GRAVE = 26
KEPT = 4  # studies whose decisions are not made anew: as many as a review holds side by side
FIGURE, CHECK, CHOICE = "figure", "check", "choice"
KILLING = STAGES[:4]
FAULTS = "Fault range"
PLACE = "Fault place"
BRANCH = "branch."
BENCH, BENCH_PART = "bench", "Bench sheet"


@value_object
class Decision:
    """One thing to accept, change, reject or leave.

    Attributes:
        id: stable, e.g. "main_fuse.least-rated-current-from-the-load-side".
        part: title of the item it belongs to.
        title: what is decided.
        stage: one of STAGES; the order of consequence.
        verdict: of the check, or "" for a figure.
        shown: the figure or the check's sentence, as printed.
        basis: weakest basis in the chain.
        digest: of everything the decision rests on.
        finding: the figure, where it has a chain.
        item: key of the item, "faults", "place" or "bench".
        kind: FIGURE, CHECK or CHOICE (the rating or part put forward).
        check: of a check.
        rests_on: every finding whose chain the decision rests on.
        also: titles of further parts for which the very same figure counts.
        aliases: ids under which the same figure stands in those parts.
        leading: whether all else rests on it: highest voltage, highest and lowest fault.
    """

    id: str
    part: str
    title: str
    stage: str
    verdict: str
    shown: str
    basis: str
    digest: str
    finding: Finding | None = None
    item: str = ""
    kind: str = CHECK
    check: Check | None = None
    rests_on: tuple[Finding, ...] = ()
    also: tuple[str, ...] = ()
    aliases: tuple[str, ...] = ()
    leading: bool = False
    nobody: bool = False

    @property
    def grounds(self) -> tuple[str, ...]:
        """Every basis in the chains it rests on, firmest first."""
        found = {basis for finding in self.rests_on for basis in finding.grounds()}
        return tuple(sorted(found, key=BASES.index))


_MADE: deque[tuple[ProtectionStudy, Measured, tuple[Decision, ...]]] = deque(maxlen=KEPT)


def decisions(study: ProtectionStudy, bench: Measured = Measured()) -> tuple[Decision, ...]:
    """Every decision of a study, gravest first (see `gravity`); no id stands twice.

    A review asks for those of the very same study again for each file and each change: they are
    frozen as the study is, and made once.

    Args:
        study: one layout sized.
        bench: what the bench sheet says against it, see `measured.bench_of`.
    """
    for known, measured, made in tuple(_MADE):
        if known is study and measured == bench:
            return made
    made = _made(study, bench)
    _MADE.append((study, bench, made))
    return made


def _made(study: ProtectionStudy, bench: Measured) -> tuple[Decision, ...]:
    found = _of_bench(study, bench)
    found += [d for item in study.items for d in _of_item(item, study.brief)]
    found += [_of_check("faults", FAULTS, c) for c in study.faults.checks]
    found += [_of_place(place) for place in study.circuit.places]
    lines = _leading(_named_once(_merged(found)), study)
    rules = tuple(_word_rules(study.brief))
    return tuple(sorted((_sealed(d, rules) for d in lines), key=gravity))


def gravity(decision: Decision) -> tuple[int, float, int, int]:
    """Order of consequence.

    What fails; the figures that all else rests on; the parts put forward for the main path that
    do not pass; then, in the stages that kill, faults that nobody clears, demands that are not
    met, by how many times they are missed, what could not be evaluated, and cautions on what is
    met; the parts that pass; then the rest.
    """
    kills = decision.stage in KILLING
    order = (FAIL, NOT_EVALUATED, CAUTION, "", PASS)
    caution = kills and decision.verdict == CAUTION
    missed = missed_by(decision.check) if caution and decision.check else 0.0
    nobody = decision.nobody and caution
    main = decision.kind == CHOICE and not decision.item.startswith(BRANCH)
    ranks = (decision.verdict == FAIL, decision.leading, main and decision.verdict != PASS,
             nobody, missed > 0.0, kills and decision.verdict == NOT_EVALUATED, caution, main,
             decision.verdict != PASS, True)
    return (ranks.index(True), 0.0 if nobody else -missed, STAGES.index(decision.stage),
            order.index(decision.verdict))


def missed_by(check: Check) -> float:
    """How many times a demand is missed; 0 where it is met, 1 where no two figures say."""
    share, figure, demand = margin(check), check.figure, check.demand
    if share is not None and share >= 0.0:
        return 0.0
    if share is None or figure is None or demand is None or not figure.unit \
            or figure.number * demand.number <= 0.0:
        return 1.0
    return max(figure.number / demand.number, demand.number / figure.number)


def put_forward(item: Item, brief: Brief) -> Candidate | None:
    """The part that the brief names, else the first rating in which no check fails."""
    named = named_for(item, brief)
    own = next((c for c in item.candidates if c.own and named and c.name == named), None)
    return own or (item.shortlist[0] if item.shortlist else None)


def named_for(item: Item, brief: Brief) -> str:
    """Name of the user's own part that the brief names for an item; "" where it names none."""
    use = brief.parts
    strung = item.title == STRINGS_TITLE
    return {"main_fuse": use.main_fuse, "contactors": use.tripped(strung),
            "precharge": use.resistor,
            "disconnect": use.disconnect, "string_fuse": use.string_fuse,
            "string_contactors": use.string_contactor, "mid_fuse": use.mid_fuse,
            "charge_contactor": use.charge_contactor, "precharge_relay": use.precharge_relay,
            "connectors": use.named_connector, "management": use.management_system,
            **{f"cable.{r.name}": r.cable for r in brief.cables.route},
            **{f"branch.{b.name}": b.fuse_part for b in brief.branch}}.get(item.key, "")


# -- ids and digests --------------------------------------------------------------------------


_PLAIN = re.compile("[A-Za-z0-9]+")


def slug(text: str) -> str:
    """Letters and digits joined by hyphens.

    Examples:
        >>> slug("Who clears the highest fault: box 1")
        'who-clears-the-highest-fault-box-1'
    """
    return "-".join(_PLAIN.findall(text)).lower()


def decision_id(key: str, title: str) -> str:
    """An id of letters, digits, hyphens, underscores and dots.

    Examples:
        >>> decision_id("cable.battery to inverter", "Insulation voltage")
        'cable.battery-to-inverter.insulation-voltage'
    """
    parts = ["_".join(slug(word) for word in part.split("_")) for part in key.split(".")]
    return ".".join([*parts, slug(title)])


def finding_digest(finding: Finding) -> str:
    """A digest of a finding's chain: rules, sources and values, not where an entry stands."""
    return _digest(node.words for node in finding.walk())


def _digest(words: Iterable[str]) -> str:
    return SIGN + hashlib.sha256("\n".join(words).encode("utf-8")).hexdigest()[:12]


def _check_digest(check: Check, beside: tuple[Finding, ...] = (), name: str = "") -> str:
    parts = [name, check.title, check.verdict, check.relation, check.reason, check.remedy]
    parts += [finding_digest(f) for f in (check.figure, check.demand, *beside) if f is not None]
    return _digest(parts)


# Entries that are words stand in no chain. Each is counted with the checks that rest on it, by
# the beginnings of their ids; {} is the name of the branch that the entry belongs to.
_BRANCH_PLACES = ("place.branch-{}-before", "place.branch-{}-after")
RESTS_ON_WORDS = {
    "regeneration.follows_charge_limit": (
        "management.charging-is-stopped", "management.trip-of-the-braking-current"),
    "path.main_fuse": ("main_fuse.", "coordination."),
    "path.insulation_monitor": (
        "place.chassis", "insulation.isolation-monitor", "switching.insulation-monitor"),
    "path.charge_contactor": (
        "place.inlet", "switching.charge-inlet", "insulation.charge-inlet"),
    "management.monitor_order": ("management.no-monitor-across",),
    "management.sense_fuse": ("management.a-fuse-at-the-cell-end", "place.wires-sense"),
    "management.trip_falls_in_cold": (
        "coordination.", "management.a-fixed-current-trip", "management.current-trip"),
    "management.trip_current_at": (
        "coordination.", "management.the-current-trip", "management.current-trip",
        "management.trip-acts"),
    "branch.fused_poles": ("branch.{}.fuse-in-both-poles", *_BRANCH_PLACES),
    "branch.kind": ("branch.{}.", *_BRANCH_PLACES),
    "branch.fuse_part": ("branch.{}.", *_BRANCH_PLACES),
    "branch.taps": ("branch.{}.", *_BRANCH_PLACES),
}
_INDEX = re.compile(r"\[(\d+)\]")


def _word_rules(brief: Brief) -> Iterator[tuple[str, str, str]]:
    """(Beginning of an id, dotted name, entry with its words) of every entry in that table."""
    for dotted, value in brief.words():
        place = _INDEX.search(dotted)
        name = slug(brief.branch[int(place[1])].name) if place and dotted.startswith(
            "branch") else ""
        entry = _INDEX.sub("", dotted)
        for start in RESTS_ON_WORDS.get(entry, ()):
            yield start.format(name), dotted, f"{entry} = {value}"


def entries_under(decision: Decision, brief: Brief) -> set[str]:
    """Dotted names of the entries, and of the modules' figures, that a decision rests on."""
    origins = {(node.origin.place, node.origin.key) for finding in decision.rests_on
               for node in finding.walk() if node.origin is not None}
    figures = [*brief.entries(), *((f"{one.module.id}: {f.title}", f)
                                   for one in brief.modules for f in one.module.figures)]
    found = {name for name, leaf in figures if leaf.origin is not None
             and (leaf.origin.place, leaf.origin.key) in origins}
    return found | {dotted for start, dotted, _ in _word_rules(brief)
                    if decision.id.startswith(start)}


def _sealed(decision: Decision, rules: Sequence[tuple[str, str, str]]) -> Decision:
    """With a digest that covers what is printed, its figure's note and the words it rests on.

    The part above all: an id may come to stand for another part, as contactors of the pack do
    for those of one string, and a mark given to the one says nothing of the other.
    """
    more = [decision.part, decision.title, decision.verdict, decision.shown, decision.basis]
    if decision.kind == FIGURE:
        more.append(decision.finding.note if decision.finding else "")
    else:
        more += [words for start, _, words in rules if decision.id.startswith(start)]
    return replace(decision, digest=_digest([decision.digest, *more]))


# -- what waits for one line of the brief -----------------------------------------------------


@value_object
class Waiting:
    """One open entry of the brief with the checks that do not pass and name it.

    Attributes:
        entry: dotted name, as it is written in the brief.
        checks: how many of them; what is decided of a place counts as one.
        places: those of them where nobody is shown to end a fault.
        failed: those of them that fail, or need caution, on what is counted meanwhile.
    """

    entry: str
    checks: int
    places: int
    failed: int = 0


def waiting(lines: Iterable[Decision], brief: Brief) -> tuple[Waiting, ...]:
    """The open entries for which checks wait, where nobody is shown to end a fault first.

    A check that rests on what others found, or does not say what it lacks, names none: at least
    so many wait. Of two entries that a check names, both must come. One that fails, or needs
    caution, on what is counted for an entry names it as it is written in the brief.

    Args:
        lines: `decisions`.
        brief: with its open entries.

    Returns:
        Waiting: by danger, then the one that most checks name first.
    """
    asked = [d for d in lines if d.kind == CHECK and d.verdict == NOT_EVALUATED]
    graver = [(d, _own_words(d)) for d in lines
              if d.kind == CHECK and d.verdict in (FAIL, CAUTION)]
    found = []
    named = [(u.dotted, _names_of(u, brief)) for u in brief.unknowns]
    for dotted, pattern in [*named, *((part, _as_written(part)) for part in _unnamed(brief))]:
        called, written = re.compile(pattern), re.compile(_as_written(dotted))
        held = [d for d in asked if dotted in _blank(d) or called.search(d.shown)]
        failed = [d for d, words in graver if dotted in words and written.search(words)]
        held += failed
        if held:
            found.append(Waiting(dotted, len(held), sum(d.item == "place" for d in held),
                                 len(failed)))
    return tuple(sorted(found, key=lambda w: (not w.places, -w.checks)))


def _unnamed(brief: Brief) -> Iterator[str]:
    """Dotted names of the parts that the brief might name from its list and does not."""
    yield from (f"parts.{name}" for name, value in vars(brief.parts).items() if value == "")
    yield from (f"cables.route[{i}].cable" for i, route in enumerate(brief.cables.route)
                if not route.cable)


def _own_words(decision: Decision) -> str:
    """What a check says of itself: its sentence, its remedy, what is not told of its figures."""
    check = decision.check
    beside = (check.remedy, *(f.note for f in (check.figure, check.demand) if f is not None)) \
        if check is not None else ()
    return "; ".join((decision.shown, *beside))


def _blank(decision: Decision) -> set[str]:
    """Entries whose own figure a check holds or is held against, and that have no value."""
    check = decision.check
    sides = (check.figure, check.demand) if check is not None else ()
    return {f.origin.key for f in sides if f is not None and not f.known and f.origin is not None}


def _as_written(dotted: str) -> str:
    """A pattern of an entry's dotted name as a whole."""
    return rf"(?<![\w.]){re.escape(dotted)}(?![\w\[]|\.\w)"


def _names_of(unknown: Unknown, brief: Brief) -> str:
    """A pattern of how a check names an open entry: as in the brief, or in words.

    In words alone only where the figure stands once in a brief and has no value: other figures
    of that name may be meant, and one that is counted on stands in words that ask for nothing.
    """
    dotted = _as_written(unknown.dotted)
    counted = unknown.key.dimension == "words" or any(
        leaf.known for name, leaf in brief.entries() if name == unknown.dotted)
    alone = "[" not in unknown.dotted and not counted
    return rf"{dotted}|\b{re.escape(unknown.key.title)}\b" if alone else dotted


# -- the bench --------------------------------------------------------------------------------


def _of_bench(study: ProtectionStudy, bench: Measured) -> list[Decision]:
    """What the modules as measured, and as dealt, make of the brief's figures."""
    figures = [_of_bench_figure(bench.energy, study.pack.usable_energy)] \
        if bench.energy is not None and bench.energy.known else []
    return [*figures, *(_of_check(BENCH, BENCH_PART, c) for c in (*bench.checks, *bench.dealt))]


def _of_bench_figure(dealt: Finding, counted: Finding) -> Decision:
    shown = (f"{dealt.shown} as the modules are dealt, and {counted.shown} on every other page: "
             "by the brief, or the weakest module for every one where that is less")
    return Decision(decision_id(BENCH, dealt.title), BENCH_PART, dealt.title, "convenience", "",
                    shown, dealt.weakest, _digest([finding_digest(dealt), shown]), dealt, BENCH,
                    FIGURE, rests_on=(dealt,))


# -- one item ---------------------------------------------------------------------------------


def _of_item(item: Item, brief: Brief) -> list[Decision]:
    chosen = put_forward(item, brief)
    same = named_title(chosen.name) if chosen else ""
    found = [_of_finding(item, f) for f in item.duty if f.known]
    found += [_of_check(item.key, item.title, c) for c in item.checks if c.title != same]
    found += _of_branch_fuse(item, brief)
    if chosen is None:
        return found
    # the id leaves out the candidate's name: another choice voids the mark, it is not "unknown"
    tried = [_of_check(f"{item.key}.first", f"{item.title}, {chosen.name}", c, name=chosen.name)
             for c in chosen.checks]
    return [*found, _of_choice(item, chosen), *(replace(d, item=item.key) for d in tried)]


def _figure_stage(item: Item, finding: Finding) -> str:
    """Stage of a duty figure: by what is measured, so that voltages come first."""
    if item.key == "highest_voltage" or finding.unit in ("V", "kV"):
        return "highest voltage"
    if "fault" in finding.title.lower():
        return "fault range"
    return "thermal load"


def _told(finding: Finding) -> str:
    """A figure as printed; one that is only an end of what it can be says so, and why."""
    if finding.unit == "mm²":
        return section_words(finding)
    untold = finding.may_be_less or finding.untold_more
    if untold:
        return f"{finding.most or finding.least}{finding.shown}: {untold}"
    if not finding.at_least:
        return told_with_bound(finding)
    why = finding.note.partition("; governed by")[0]
    return why.replace(AT_LEAST, f"at least {finding.shown}", 1)


def _of_finding(item: Item, finding: Finding) -> Decision:
    return Decision(decision_id(item.key, finding.title), item.title, finding.title,
                    _figure_stage(item, finding), "", _told(finding), finding.weakest,
                    finding_digest(finding), finding, item.key, FIGURE, rests_on=(finding,))


def _of_check(key: str, part: str, check: Check, beside: tuple[Finding, ...] = (), *,
              name: str = "") -> Decision:
    rests = tuple(f for f in (check.figure, check.demand, *beside) if f is not None and f.known)
    basis = max((f.weakest for f in rests), key=BASES.index, default="not known")
    figure = check.figure if check.figure is not None and check.figure.known else None
    return Decision(decision_id(key, check.title), part, check.title, check.stage, check.verdict,
                    _sentence(check), basis, _check_digest(check, beside, name),
                    figure or (rests[0] if rests else None), key, CHECK, check, rests)


def _sentence(check: Check) -> str:
    """The check in words; sections in both systems."""
    sections = [f for f in (check.figure, check.demand) if f is not None and f.known
                and f.unit == "mm²"]
    gauges = " and ".join(next_gauge(f.number).partition(" (")[0] for f in sections)
    return (check.sentence or check.reason) + (f"; in AWG/kcmil the next up: {gauges}"
                                               if sections else "")


def _of_place(place: FaultPlace) -> Decision:
    """All currents of one place are decided together: the gravest verdict stands for all."""
    checks = place.checks
    both = Check(f"who clears a fault: {place.title}", "who clears", worst(checks),
                 reason="; ".join(f"{place_words(one)} {c.reason}" for one, c in zip(
                     place.answers, checks, strict=True)),
                 remedy=checks[0].remedy)
    ends = tuple(f for f in (place.highest, place.lowest) if f.known)
    decision = _of_check(f"place.{place.key}", PLACE, both, ends)
    return replace(decision, id=decision_id("place", place.key), item="place",
                   nobody=place.nobody,
                   digest=_digest([decision.digest, *_printed_beside(place)]))


def _printed_beside(place: FaultPlace) -> Iterator[str]:
    """What the page says of a place besides its answers: feeders, devices, remedies, notes."""
    loop = place.loop
    yield from (loop.feeds, loop.voltage.shown, loop.highest.shown, loop.inductance.shown,
                f"{loop.time_constant.least}{loop.time_constant.shown}")
    yield from (device.name for device in loop.devices)
    for one in place.others:
        yield from (one.end, one.current.shown, one.words, one.why)
    yield from place.remedies
    yield from loop.notes


def _of_choice(item: Item, chosen: Candidate, *, named: bool = False) -> Decision:
    figures = [f for c in chosen.checks for f in (c.figure, c.demand) if f is not None and f.known]
    basis = max((f.weakest for f in figures), key=BASES.index, default="not known")
    failed = "; ".join(c.title for c in chosen.checks if c.verdict == FAIL)
    named = named or any(c.title == named_title(chosen.name) for c in item.checks)
    why = "named in the brief" if named else (
        "the first of your parts" if chosen.own else "the first rating"
    ) + " in which no check fails; what was not evaluated stays a question to its maker"
    words = f"{chosen.name}: {why}" + (f"; fails: {failed}" if failed else "")
    return Decision(decision_id(item.key, "choice"), item.title, "Rating or part put forward",
                    "who clears" if item.key == "main_fuse" else "thermal load", chosen.verdict,
                    words, basis,
                    _digest([chosen.name, words, *(_check_digest(c) for c in chosen.checks)]),
                    None, item.key, CHOICE, rests_on=tuple(figures))


def _of_branch_fuse(item: Item, brief: Brief) -> list[Decision]:
    """The fuse of a branch as the brief names it, with every check of the branch."""
    branch = next((b for b in brief.branch if item.key == BRANCH + b.name), None)
    if branch is None or not (branch.fuse_part or branch.fuse_rating.known):
        return []
    name = branch.fuse_part or f"fuse of {branch.fuse_rating.shown}"
    return [_of_choice(item, Candidate(name, item.checks, own=True), named=True)]


# -- one line for what is one figure ----------------------------------------------------------


def _merged(found: list[Decision]) -> list[Decision]:
    """A figure that several parts share is decided once.

    It is one figure where it rests on the same entries. Two entries that read alike today may
    part tomorrow, or have differed when marks were given: each then has a figure of its own.
    """
    lines: list[Decision] = []
    place: dict[tuple[str, frozenset[Origin]], int] = {}
    for decision in found:
        if decision.kind != FIGURE or decision.finding is None:
            lines.append(decision)
            continue
        same = decision.digest, _origins(decision.finding)
        at = place.get(same)
        if at is None:
            place[same] = len(lines)
            lines.append(decision)
            continue
        first = lines[at]
        also = () if decision.part == first.part else (decision.part,)
        lines[at] = replace(first, also=tuple(dict.fromkeys((*first.also, *also))),
                            aliases=(*first.aliases, decision.id))
    return lines


def _origins(finding: Finding) -> frozenset[Origin]:
    return frozenset(node.origin for node in finding.walk() if node.origin is not None)


def _leading(found: list[Decision], study: ProtectionStudy) -> list[Decision]:
    """Marks the figures that all else rests on; asked before the digests are sealed."""
    figures = (study.pack.highest_voltage, study.faults.highest, study.faults.lowest)
    digests = {finding_digest(f) for f in figures if f.known}
    return [replace(d, leading=True) if d.kind == FIGURE and d.digest in digests else d
            for d in found]


def _named_once(found: list[Decision]) -> list[Decision]:
    """Ids that would stand twice get a number, in the order of the study."""
    taken: set[str] = set()
    lines = []
    for decision in found:
        name, number = decision.id, 1
        while name in taken:
            number += 1
            name = f"{decision.id}-{number}"
        taken.add(name)
        lines.append(decision if name == decision.id else replace(decision, id=name))
    return [replace(d, aliases=tuple(a for a in d.aliases if a not in taken)) if d.aliases else d
            for d in lines]

"""The table of fault places: how much current, who clears it in what time, or nobody."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from packcalc.findings import Finding
from packcalc.part_checks.limits import COUNTED_TIME
from packcalc.places.stands import NOT_NAMED
from packcalc.protect.branch_figures import only_at_most
from packcalc.protect.places import FUSE, Cleared, FaultPlace
from packcalc.report.blocks import column, number, to_confirm, words
from packcalc.report.document import Block, Bullets, Cell, Chain, Paragraph, Section, Table

LEAD = ("For every place where a fault can happen: highest current (new, hot, full, first "
        "milliseconds, every source) and lowest (cold, aged, empty, long pulse, one string, long "
        "hot path), and who ends each. A device that is not shown to open is not counted on.")


MOST_NAMED = 6  # places not shown, of which each is told by its name


def places_section(places: Sequence[FaultPlace], level: int = 1) -> Section:
    """The one table of the first page, and what follows from it.

    Args:
        places: every place of a layout.
        level: of the heading.
    """
    blocks: list[Block] = [Paragraph(headline(places), "lead"), Paragraph(LEAD),
                           places_table(places)]
    uncleared = [p for p in places if p.remedies]
    if uncleared:
        blocks.append(remedies_table(uncleared))
    sources = [p for p in places if p.others]
    if sources:
        blocks.append(sources_table(sources))
    notes = tuple(f"{words_}: {'; '.join(at)}" for words_, at in _grouped(
        (note, p.title) for p in places for note in p.loop.notes).items())
    if notes:
        blocks.append(Bullets(notes, kind="caution"))
    return Section("fault_places", "Fault places: who clears what", tuple(blocks), level)


def places_chains(places: Sequence[FaultPlace]) -> tuple[Chain, ...]:
    """Both ends of every place, for the appendix."""
    found = []
    for place in places:
        ends = (("highest", place.highest), ("lowest", place.lowest),
                ("time_constant", place.loop.time_constant))
        found += [Chain(f"place.{place.key}.{name}", f) for name, f in ends
                  if f.known and f.formula is not None]
    return tuple(found)


def headline(places: Sequence[FaultPlace]) -> str:
    """Where nobody clears a fault, and how far the rest is shown, in a few sentences."""
    nobody = [_where(p) for p in places if p.nobody]
    open_ = [p for p in places if not p.nobody and not p.shown]
    fed = [p for p in places if p.shown and (p.feeding_on or p.loop.fed_more)]
    shown = len(places) - len(nobody) - len(open_) - len(fed)
    words_ = [f"Nobody clears a fault: {'; '.join(nobody)}." if nobody else
              "No place was found that nobody clears."]
    if open_:
        words_.append(_not_shown(open_))
    sure = to_confirm(*(end for p in places for end in (p.highest, p.lowest)))
    words_.append(f"Shown from end to end: {shown} of {len(places)} places"
                  f"{', ' if sure else ''}{sure}.")
    if fed:
        feeders = dict.fromkeys(
            f"the {name}" for p in fed for name in (*p.feeding_on, *p.loop.fed_more))
        words_.append(f"For {len(fed)} more the battery's current is shown, and not who ends that "
                      f"of {' and '.join(feeders)}.")
    bare = dict.fromkeys(d.name.partition(NOT_NAMED)[0] for p in places for d in p.loop.devices
                         if NOT_NAMED in d.name)
    if bare:
        words_.append(f"Not named in the brief, and counted on nowhere: {', '.join(bare)}.")
    return " ".join(words_)


def _not_shown(open_: Sequence[FaultPlace]) -> str:
    """By name where they are few; of many those that hang on a fuse alone, which is not proven."""
    few = len(open_) <= MOST_NAMED
    named = [p.title for p in open_
             if few or (p.loop.devices and all(d.kind == FUSE for d in p.loop.devices))]
    more = f"Not shown for {len(open_)} more"
    if not named:
        return f"{more}."
    return f"{more}{'' if few else ', among them with fuses alone in the loop'}: " \
           f"{'; '.join(named)}."


def _between(place: FaultPlace) -> str:
    """What is said of the currents between; the ends' own words where these hold throughout."""
    if place.between is not None:
        return place.between.words
    words_ = place.at_highest.words
    if words_ == place.at_lowest.words:
        return words_
    if not (place.lowest.known and place.loop.highest.known):
        return "not swept: one end of its current is not known"
    return "not swept: name the parts"


def _where(place: FaultPlace) -> str:
    """A place that nobody clears; with the currents where that is only some of them."""
    middle = place.between
    return place.title if middle is None or middle.clears is not False else \
        f"{place.title} ({middle.spans})"


def places_table(places: Sequence[FaultPlace]) -> Table:
    """One row a place."""
    columns = (column("place", "Place", wide=True), column("fed_by", "Fed by", wide=True),
               column("voltage_V", "Voltage", "V"), column("highest_A", "Highest", "A"),
               column("highest_all_A", "Highest, all sources", "A"),
               column("who_highest", "Who clears the highest", wide=True),
               column("time_highest_s", "Within", "s"), column("lowest_A", "Lowest", "A"),
               column("who_lowest", "Who clears the lowest", wide=True),
               column("time_lowest_s", "Within", "s"),
               column("who_between", "Who clears between the two", wide=True),
               column("time_between_s", "Slowest", "s"),
               column("inductance_uH", "Inductance", "µH"),
               column("time_constant_ms", "Time constant", "ms"))
    rows = tuple((Cell(p.title), words(p.loop.feeds), _figure(p.loop.voltage),
                  _figure(p.loop.highest), *_whose(p, _all(p), _highest_end),
                  _time(p.at_highest), *_whose(p, _lowest(p), _lowest_end),
                  _time(p.at_lowest), words(_between(p)),
                  _time(p.between) if p.between else Cell("–"),
                  _least(p.loop.inductance), _least(p.loop.time_constant))
                 for p in places)
    return Table("fault_places", "Fault places", columns, rows,
                 "Between the two every current of a dense grid is asked, with every break point "
                 "of the curves; the slowest is printed with its current. Whoever takes longer "
                 f"than {COUNTED_TIME.shown} counts for nobody here, also where a slower trip of "
                 "an overload opens it in the end. Inductance and time "
                 "constant are those of the loop with the highest current; where another loop of "
                 "the place is slower, a caution below says which. Highest: all modules and "
                 "strings. All sources: link capacitors, charger and motor where known, added "
                 "although their peaks come at different times; a branch's own fuse is held "
                 "against this sum, other devices against the highest of the battery.")


def remedies_table(places: Sequence[FaultPlace]) -> Table:
    """Why nobody, or nobody shown, and what exists against it."""
    columns = (column("place", "Place", wide=True), column("who", "Who clears", wide=True),
               column("why", "Why", wide=True), column("remedies", "What exists", wide=True))
    rows = tuple((Cell(p.title), Cell(_worst(p).words), words(_worst(p).why),
                  words("; ".join(p.remedies))) for p in places)
    return Table("fault_places_remedies", "Places that nobody clears, or that are not shown, and "
                 "what exists", columns, rows)


def sources_table(places: Sequence[FaultPlace]) -> Table:
    """What else feeds a place, and who ends that."""
    columns = (column("place", "Place", wide=True), column("feeder", "Source"),
               column("current_A", "Current", "A"), column("who", "Who ends it"),
               column("why", "Why", wide=True))
    at = _grouped(((one.end, one.current.value), p.title) for p in places for one in p.others)
    first = {(one.end, one.current.value): one for p in places for one in p.others}
    rows = tuple((words("; ".join(titles)), words(key[0].removeprefix("from the ")),
                  _figure(first[key].current), Cell(first[key].words), words(first[key].why))
                 for key, titles in at.items())
    return Table("fault_places_sources", "What else feeds these places", columns, rows)


def _grouped(pairs: Iterable[tuple[Any, str]]) -> dict[Any, list[str]]:
    """Titles that share a key, in the order met."""
    found: dict[Any, list[str]] = {}
    for key, title in pairs:
        found.setdefault(key, []).append(title)
    return found


def _worst(place: FaultPlace) -> Cleared:
    """The gravest answer; of equal ones that between the ends, which says how far it reaches."""
    answers = tuple(reversed(place.answers))
    return next((e for e in answers if e.clears is False), None) or next(
        (e for e in answers if e.clears is None), answers[0])


def _all(place: FaultPlace) -> Cell:
    """The sum, with the names of sources whose current nobody knows."""
    cell = _least(place.highest)
    open_ = [o.end.removeprefix("from the ") for o in place.others if not o.current.known]
    return Cell(f"{cell.text} and {', '.join(open_)}", cell.value) if open_ else cell


def _lowest(place: FaultPlace) -> Cell:
    """What is only the most that it can be is no figure to count with: none goes into the data."""
    cell = _figure(place.lowest)
    return Cell(f"at most {cell.text}") if only_at_most(place.lowest) else cell


def _whose(place: FaultPlace, cell: Cell, end: Callable[[FaultPlace], tuple[Finding, Cleared]],
           ) -> tuple[Cell, Cell]:
    """A current and who ends it; of several told as one place whose each is, where they differ."""
    current, answer = end(place)
    told = [(p.loop.rival.name, *end(p)) for p in place.rivals if p.loop.rival is not None]
    own = [name for name, figure, _ in told if figure.value == current.value]
    by = [name for name, _, one in told if one == answer]
    whose = next((name for name in own if name in by), own[0] if own else "")
    if len(own) < len(told) and whose:
        figure, joint, more = cell.text.partition(" and ")
        cell = Cell(f"{figure} ({whose}){joint}{more}", cell.value)
    who = f"{answer.words} ({by[0]})" if by and whose not in by else answer.words
    return cell, words("; ".join(filter(None, (who, to_confirm(current)))))


def _highest_end(place: FaultPlace) -> tuple[Finding, Cleared]:
    return place.highest, place.at_highest


def _lowest_end(place: FaultPlace) -> tuple[Finding, Cleared]:
    return place.lowest, place.at_lowest


def _least(finding: Finding) -> Cell:
    """What may be more by what nobody told, the same."""
    cell = _figure(finding)
    return Cell(f"{finding.least}{cell.text}") if finding.least else cell


def _figure(finding: Finding) -> Cell:
    return number(finding.value, finding.unit) if finding.known else Cell("not known")


def _time(one: Cleared) -> Cell:
    return number(one.time.value, "s") if one.time is not None and one.time.known else Cell("–")

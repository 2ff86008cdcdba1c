"""Loops that are told as one fault place: the worst of each answer, and all that any leaves."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import inf
from os.path import commonprefix

from packcalc.findings import Finding, untold_of, with_more
from packcalc.places.slowest import SLOWEST
from packcalc.protect.branch_figures import AT_MOST, only_at_most, told_with_bound
from packcalc.protect.places import CONTACTOR, Cleared, FaultPlace, Loop, Source, left_between
from packcalc.unended import APART, gaps_of, gaps_together
from packcalc.value import replace


def worst_of_rivals(places: Iterable[FaultPlace]) -> tuple[FaultPlace, ...]:
    """Every place that has no rivals, and of rivals the worst; in the order of the table."""
    found: dict[str, list[FaultPlace]] = {}
    for index, place in enumerate(places):
        key = place.key if place.loop.rival is not None else str(index)
        found.setdefault(key, []).append(place)
    return tuple(_worst(group) for group in found.values())


def _worst(group: list[FaultPlace]) -> FaultPlace:
    """The worst of rivals, with all of them in its first note, worst first.

    Its highest current, what is between and of one wire at several taps each figure and answer is
    the worst of them all: a tap left open is told no milder than any, and what one of them leaves
    stands beside what the others leave. The lowest current is the least of those that are not
    shown from end to end, and its remedies are all of theirs. One whose currents are not known may
    be worse: the title names it too, and the lowest current is only at most.
    """
    ranked = sorted(group, key=_gravity, reverse=True)
    worst = ranked[0]
    if worst.loop.rival is None:
        return worst
    each = "; ".join(f"{p.loop.rival.name} {_told(p)}" for p in ranked if p.loop.rival is not None)
    first = f"{worst.loop.rival.words}: {each}{_highest(ranked)}"
    fed = _fed(ranked)
    left = [p for p in ranked if not p.shown] or ranked
    found = replace(
        worst, at_highest=_gravest(ranked, lambda p: p.at_highest, lambda p: _value(p.highest)),
        at_lowest=_gravest_of_lowest(left), between=_all_between(ranked),
        rivals=tuple(ranked), others=tuple(one for _, one in fed), loop=replace(
            _strongest(ranked), title=_title(ranked), lowest=_least(left, ranked),
            remedies=_each_once(p.loop.remedies for p in left),
            notes=(first, *_notes(ranked)),
            sources=tuple(source for source, _ in fed)))
    return _of_one_wire(found, ranked) if worst.loop.rival.one_wire else found


def _title(ranked: list[FaultPlace]) -> str:
    """Of one wire with its worst tap; of several the words of all that are not shown."""
    rival = ranked[0].loop.rival
    if rival is not None and rival.one_wire:
        return f"{ranked[0].title}, at worst that of {rival.name}{_open_words(ranked[1:])}"
    titles = list(dict.fromkeys(p.title for p in ranked if p is ranked[0] or not p.shown))
    same = commonprefix(titles).rpartition(" ")[0] + " " if len(titles) > 1 else ""
    return " or ".join((titles[0], *(one.removeprefix(same) for one in titles[1:]))) \
        + _open_words(ranked)


def _all_between(ranked: list[FaultPlace]) -> Cleared | None:
    """What any of them leaves of the currents between; else the gravest of them, or the slowest."""
    told = [p for p in ranked if p.between is not None]
    if not told:  # the ends of each say it all
        return None
    gaps = gaps_together(ranked) if len(ranked) > 1 else ()
    if not gaps:
        return _gravest(told, lambda p: p.between)
    found = left_between(gaps)
    return replace(found, why=left_between([g for g in gaps if g.clears is found.clears]).why)


def _strongest(ranked: list[FaultPlace]) -> Loop:
    """The loop of the first, with the voltage, the highest currents and the slowest of all.

    They differ in what lies before them: the slowest may be another than the strongest.
    """
    loops = [p.loop for p in ranked]
    return replace(
        loops[0], highest=max((one.highest for one in loops), key=_value),
        inductance=_most(one.inductance for one in loops),
        time_constant=_most(one.time_constant for one in loops),
        voltage=_most(one.voltage for one in loops),
        all_sources=_most(one.all_sources for one in loops))


def _most(figures: Iterable[Finding]) -> Finding:
    """The largest of them; or more, where any of them may be."""
    several = tuple(figures)
    return with_more(max(several, key=_value), untold_of(several))


def _value(figure: Finding) -> float:
    return figure.number if figure.known else -1.0


def _of_one_wire(worst: FaultPlace, ranked: list[FaultPlace]) -> FaultPlace:
    """Besides what is told of all rivals the lowest of all, and every remedy."""
    return replace(
        worst, at_lowest=_gravest_of_lowest(ranked), loop=replace(
            worst.loop, lowest=_least(ranked, ranked),
            remedies=_each_once(p.loop.remedies for p in ranked),
            # one that nobody ends where covers are no answer fails, whatever another is
            inherent=all(p.loop.inherent for p in ranked if p.nobody or p is ranked[0])))


def _least(left: list[FaultPlace], ranked: list[FaultPlace]) -> Finding:
    """The lowest current of some rivals; only the most that it can be where one of all is open."""
    known = [p.lowest for p in left if p.lowest.known]
    lowest = min(known, key=lambda one: one.number) if known else left[0].lowest
    open_ = [p for p in ranked if not p.lowest.known or only_at_most(p.lowest)]
    if not open_ or not lowest.known or only_at_most(lowest):
        return lowest
    return lowest.called(note=f"{AT_MOST}: that of {_name(open_[0])} may be less")


def _open_words(others: list[FaultPlace]) -> str:
    """Which rivals may be worse than what is told of all, in words; empty for none."""
    names = list(dict.fromkeys(_name(p) for p in others if _may_be_worse(p)))
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f" as far as is known (not shown: {names[0]}{more})" if names else ""


def _may_be_worse(place: FaultPlace) -> bool:
    """Whether an end of it is not shown that no span tells."""
    gaps = gaps_of(place)
    return not place.lowest.known or any(
        one.clears is None and not (one.current.known and any(
            g.low * (1.0 - APART) <= one.current.number <= g.high * (1.0 + APART) for g in gaps))
        for one in (place.at_highest, place.at_lowest))


def _name(place: FaultPlace) -> str:
    return place.loop.rival.name if place.loop.rival is not None else place.title


def _fed(ranked: list[FaultPlace]) -> list[tuple[Source, Cleared]]:
    """What else feeds any of them, each once at its most, and once where that is not known."""
    found: dict[tuple[str, bool], tuple[Source, Cleared]] = {}
    for source, one in ((s, o) for p in ranked for s, o in zip(
            p.loop.sources, p.others, strict=True)):
        key = source.name, source.current.known
        if key not in found or key[1] and source.current.number > found[key][0].current.number:
            found[key] = source, one
    return list(found.values())


def _notes(ranked: Sequence[FaultPlace]) -> Iterable[str]:
    """The notes of all, of their time constants that of the slowest alone and of what is open."""
    slow = max((p.loop for p in ranked), key=lambda loop: _value(loop.time_constant))
    kept = {note for loop in (slow, *(p.loop for p in ranked if p.loop.time_constant.untold_more))
            for note in loop.notes}
    return (note for note in _each_once(p.loop.notes for p in ranked)
            if note in kept or not note.startswith(SLOWEST))


def _gravest(places: Sequence[FaultPlace], answer: Callable[[FaultPlace], Cleared | None],
             rank: Callable[[FaultPlace], float] = lambda _: 0.0) -> Cleared:
    """The worst answer, of those that clear the slowest, and of equal ones that of most rank."""
    told = [(one, p) for p in places if (one := answer(p)) is not None]
    return max(told, key=lambda pair: (
        _weight(pair[0]), pair[0].time.number
        if pair[0].time is not None and pair[0].time.known else 0.0, rank(pair[1])))[0]


def _gravest_of_lowest(places: Sequence[FaultPlace]) -> Cleared:
    """Who ends the lowest current, at worst; of equal answers that of the least current."""
    return _gravest(places, lambda p: p.at_lowest,
                    lambda p: -p.lowest.number if p.lowest.known else -inf)


def _each_once(told: Iterable[Sequence[str]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(words for one in told for words in one))


def _highest(ranked: list[FaultPlace]) -> str:
    """The largest current of those whose highest ends differ, with whose it is."""
    told = [(p.loop.all_sources, p.loop.rival.name) for p in ranked
            if p.loop.rival is not None and p.loop.rival.highest and p.loop.all_sources.known]
    if not told:
        return ""
    most, whose = max(told, key=lambda one: one[0].number)
    return f"; the highest, all sources, {most.least}{most.shown}: {whose}"


def _gravity(place: FaultPlace) -> tuple[int, int, int, bool, float]:
    """The larger, the worse: nobody before what is not shown, at any current, then at the ends."""
    return (max(map(_weight, place.answers)), _weight(place.at_lowest), _weight(place.at_highest),
            all(d.kind != CONTACTOR for d in place.loop.devices),
            -place.lowest.number if place.lowest.known else 0.0)


def _weight(one: Cleared) -> int:
    return 2 if one.clears is False else 0 if one.clears else 1


def _told(place: FaultPlace) -> str:
    """Its lowest current with who ends it, and up to where; what is graver between beside it."""
    low, gaps = place.at_lowest, gaps_of(place)
    lowest = told_with_bound(place.lowest) if place.lowest.known else "not known"
    grave = left_between(gaps) if gaps else max(place.answers, key=_weight)
    if gaps and _weight(grave) == _weight(low):
        return f"{lowest}: {grave.words.replace(f'from {place.lowest.shown} to', 'up to', 1)}"
    more = f", {grave.words}" if _weight(grave) > _weight(low) else ""
    return f"{lowest}: {low.words}{more}"

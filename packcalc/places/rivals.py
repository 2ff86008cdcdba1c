"""Loops that are told as one fault place: the one with the worst answer names it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from packcalc.findings import Finding, untold_of, with_more
from packcalc.protect.branch_figures import AT_MOST, only_at_most, told_with_bound
from packcalc.protect.places import CONTACTOR, Cleared, FaultPlace, Loop, Source
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

    Its highest current, and of one wire at several taps each figure and answer, is the worst of
    them all: a tap left open is told no milder than any. Another one of which not all is shown
    may be worse: the title names it too, and the lowest current is only at most.
    """
    ranked = sorted(group, key=_gravity, reverse=True)
    worst = ranked[0]
    if worst.loop.rival is None:
        return worst
    each = "; ".join(f"{p.loop.rival.name} {_told(p)}" for p in ranked if p.loop.rival is not None)
    title = f"{worst.title}, at worst that of {worst.loop.rival.name}{_open_words(ranked[1:])}"
    first = f"{worst.loop.rival.words}: {each}{_highest(ranked)}"
    fed = _fed(ranked)
    found = replace(
        worst, at_highest=_gravest(p.at_highest for p in ranked),
        others=tuple(one for _, one in fed), loop=replace(
            _strongest(ranked), title=title,
            lowest=_or_less(worst.lowest, ranked[1:]), notes=(first, *worst.loop.notes),
            sources=tuple(source for source, _ in fed)))
    return _of_one_wire(found, first, ranked) if worst.loop.rival.one_wire else found


def _strongest(ranked: list[FaultPlace]) -> Loop:
    """The loop of the first, with the voltage and the highest currents of all."""
    loops = [p.loop for p in ranked]
    most = max(loops, key=lambda one: _value(one.highest))
    return replace(
        loops[0], highest=most.highest, inductance=most.inductance,
        time_constant=most.time_constant, voltage=_most(one.voltage for one in loops),
        all_sources=_most(one.all_sources for one in loops))


def _most(figures: Iterable[Finding]) -> Finding:
    """The largest of them; or more, where any of them may be."""
    several = tuple(figures)
    return with_more(max(several, key=_value), untold_of(several))


def _value(figure: Finding) -> float:
    return figure.number if figure.known else -1.0


def _of_one_wire(worst: FaultPlace, first: str, ranked: list[FaultPlace]) -> FaultPlace:
    """Besides the highest end the lowest, what is between, and every caution and remedy.

    Its taps differ in what lies before them: the slowest may be another than the strongest.
    """
    between = [p.between for p in ranked if p.between is not None]
    return replace(
        worst, at_lowest=_gravest(p.at_lowest for p in ranked),
        between=_gravest(between) if between else None, loop=replace(
            worst.loop, lowest=_least(ranked), inductance=_most(
                p.loop.inductance for p in ranked),
            time_constant=_most(p.loop.time_constant for p in ranked),
            notes=(first, *_each_once(p.loop.notes for p in ranked)),
            remedies=_each_once(p.loop.remedies for p in ranked),
            # one that nobody ends where covers are no answer fails, whatever another is
            inherent=all(p.loop.inherent for p in ranked if p.nobody or p is ranked[0])))


def _least(ranked: list[FaultPlace]) -> Finding:
    """The lowest current of all; only the most that it can be where that of one is open."""
    known = [p.lowest for p in ranked if p.lowest.known]
    return _or_less(min(known, key=lambda one: one.number), ranked) if known else ranked[0].lowest


def _or_less(lowest: Finding, others: list[FaultPlace]) -> Finding:
    """A lowest current; only the most that it can be where that of another one is open."""
    open_ = [p for p in others if not p.lowest.known or only_at_most(p.lowest)]
    if not open_ or not lowest.known or only_at_most(lowest):
        return lowest
    return lowest.called(note=f"{AT_MOST}: that of {_name(open_[0])} may be less")


def _open_words(others: list[FaultPlace]) -> str:
    """Which of the other rivals may be worse, not all of it being shown; empty for none."""
    names = list(dict.fromkeys(_name(p) for p in others if not p.lowest.known
                               or any(one.clears is None for one in p.answers)))
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f" as far as is known (not shown: {names[0]}{more})" if names else ""


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


def _gravest(answers: Iterable[Cleared]) -> Cleared:
    """The worst answer, and of those that clear the slowest."""
    return max(answers, key=lambda one: (
        _weight(one), one.time.number if one.time is not None and one.time.known else 0.0))


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
    """Its lowest current with who ends it, and where it is graver, who ends the others."""
    low, grave = place.at_lowest, max(place.answers, key=_weight)
    lowest = told_with_bound(place.lowest) if place.lowest.known else "not known"
    more = f", {grave.words}" if _weight(grave) > _weight(low) else ""
    return f"{lowest}: {low.words}{more}"

"""What all fault places together ask of one device: its largest current, its slowest loops.

Suppliers' sheets and part checks take it from here alone, so that none asks less than what the
table of fault places shows for that very device.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from packcalc.findings import AT_LEAST, Finding, trace, untold_of, with_more
from packcalc.part_checks.shown import counted
from packcalc.protect.places import FUSE, Device, Loop, path_current
from packcalc.protect.strings import shared_current
from packcalc.value import value_object

LONGEST = "longest at full voltage, of"
FULL = 1.0 - 1e-9  # of the highest voltage of all its places: rounding apart it is that
Pair = tuple[Finding, Finding]


@value_object
class Demand:
    """What the fault places ask of one device.

    Attributes:
        highest: largest current through it, every source that passes it counted.
        constant: longest time constant at the highest voltage of its places, its place in the
            note; or more, where that of a place may be; None where no place has one.
        pairs: (voltage, longest time constant) at lower voltages, and of each chassis loop.
        backward: largest current of the bus alone, against the modules', into a fault on the
            modules' side; None where it meets none.
    """

    highest: Finding
    constant: Finding | None
    pairs: tuple[Pair, ...] = ()
    backward: Finding | None = None


def demand_on(loops: Iterable[Loop], *keys: str) -> Demand | None:
    """What all fault places ask of one device at once; None where it stands in none.

    Args:
        loops: every fault place.
        keys: by which the device stands in them.
    """
    places = tuple(loops)
    found = [one for one in _asks(places, keys) if one[2].known]
    if not found:
        return None
    where, device, highest = max(found, key=lambda one: one[2].number)
    more = untold_of(one[2] for one in found)
    slow = [(pair, bool(one.breaks), loop) for loop, one, _ in found for pair in _slow(loop, one)]
    top = max((v.number for (v, _), *_ in slow), default=0.0) * FULL
    # One that stands on the modules' side of a chassis loop is asked at that loop's own voltages.
    lower = [pair for pair, chassis, _ in slow if chassis or pair[0].number < top]
    back = [(d.sees, loop) for loop in places for d in loop.backward
            if d.key in keys and d.sees is not None]
    return Demand(
        with_more(_at(highest, where, device.sees is not None), more),
        _longest_at([(t, loop) for (v, t), _, loop in slow if v.number >= top]),
        _longest_of_each(lower),
        with_more(_at(*max(back, key=lambda one: one[0].number)), untold_of(b for b, _ in back))
        if back else None)


def _asks(loops: tuple[Loop, ...],
          keys: tuple[str, ...]) -> Iterator[tuple[Loop, Device, Finding]]:
    """(place, device, largest current through it) wherever it stands.

    A fuse that the current may pass is asked the same where nobody counts on it: it may melt, and
    the table holds it against that place.
    """
    for loop in loops:
        for device in loop.devices:
            if device.key in keys:
                yield loop, device, device.sees or _share(loop.highest, device.paths)
        for device in loop.passed:
            if device.key in keys and device.kind == FUSE:
                yield loop, device, device.sees or _part(loop, device)
        for source in loop.sources:
            for device in source.devices:
                if device.key in keys:
                    yield loop, device, source.current


def _part(loop: Loop, passed: Device) -> Finding:
    """Its equal part; where the loop does not count those of all strings side by side, at most
    what all strings but one give.
    """
    if passed.paths == 1 or not loop.highest.known or passed.paths <= loop.paths:
        return _share(loop.highest, passed.paths)
    return trace(shared_current, f"{loop.highest.title}, of all strings but one",
                 current=loop.highest, share=counted(
                     "share of all strings but one", 1.0 - 1.0 / passed.paths, "definition"))


def _share(current: Finding, paths: int) -> Finding:
    if paths == 1 or not current.known:
        return current
    return trace(path_current, current=current,
                 paths=counted("equal paths side by side", paths, "definition"))


def _slow(loop: Loop, device: Device) -> Iterator[Pair]:
    if device.breaks:
        yield from device.breaks
    elif loop.voltage.known and device.constant is not None and device.constant.known:
        yield loop.voltage, device.constant


def _longest_at(found: list[tuple[Finding, Loop]]) -> Finding | None:
    """The longest with the place that asks it."""
    longest = _longest([constant for constant, _ in found])
    if longest is None:
        return None
    where = next(loop for constant, loop in found if constant.number == longest.number)
    least = f"{longest.told_note}; " if longest.at_least else ""
    return with_more(longest.called(note=f"{least}{LONGEST} '{where.title}'"),
                     longest.untold_more)


def _longest(constants: list[Finding]) -> Finding | None:
    """More where any of them may be more; None of none."""
    return with_more(max(constants, key=lambda t: t.number), untold_of(constants)) \
        if constants else None


def _longest_of_each(pairs: list[Pair]) -> tuple[Pair, ...]:
    """One pair a voltage, rising."""
    found: dict[str, Pair] = {}
    for voltage, constant in pairs:
        pair = found.setdefault(voltage.shown, (voltage, constant))
        before, known = pair
        longer = constant.number > known.number
        if longer or constant.untold_more:
            found[voltage.shown] = (voltage if longer else before,
                                    _longest([known, constant]) or constant)
    return tuple(sorted(found.values(), key=lambda pair: pair[0].number))


def _at(current: Finding, loop: Loop, passes: bool = True) -> Finding:
    """The current with the place that asks it; its own note holds there.

    Args:
        current, loop: of the place.
        passes: whether the sources of the place pass the device as well.
    """
    open_ = [s.asked for s in loop.sources if not s.current.known] if passes else []
    least = f"{AT_LEAST}, {' and '.join(open_)} not known and in no sum" if open_ else ""
    return current.called(note="; ".join(w for w in (
        least, f"at the place '{loop.title}'", current.note) if w))

"""The time–current picture: fuse band, cable and contactor limits, load, fault range, hole.

Drawn from the arrays of the sweep. Lines differ by their dashes and areas by hatching, never
by colour alone. Marks on the picture are single letters at fixed places; what they mean, with
every figure, stands in the open table below it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from packcalc.checks import CAUTION
from packcalc.curves import LONGEST_ADIABATIC, Curve, adiabatic_time
from packcalc.part_checks.path_conductors import PathConductor
from packcalc.part_checks.sweep import number
from packcalc.protect.coordination import EVERY, SECOND, Coordination, CoordinationAsked
from packcalc.report.document import Cell, Column, Figure, Table
from packcalc.units import show, significant
from packcalc.value import value_object

WIDTH, HEIGHT = 760, 560
LEFT, RIGHT, TOP, BOTTOM = 70, 18, 58, 62
SHORTEST, LONGEST = 1e-3, 1e3
HOLE = "X"
_OTHER_CONDUCTORS = (("L", "wide"), ("M", "twice"))  # marks and looks beside the cable's own
LANE = 18   # height of one row of marks above the frame
PREFIX = "tc"
HALF_DIGIT = 4.2  # half the width of a digit: the last decade may stand at the right edge
BRACKET = 2.5   # the ends of the contactor's window point up by this factor of time


@value_object
class _Line:
    """One line or area of the picture: its mark, its look, what it is, its points."""

    mark: str
    look: str
    what: str
    points: tuple[tuple[float, float], ...]
    hatch: str = ""
    figures: str = ""


@value_object
class _Scale:
    """Amperes and seconds to places in the picture."""

    low: float
    high: float

    def x(self, current: float) -> float:
        share = np.log(current / self.low) / np.log(self.high / self.low)
        return round(float(LEFT + share * (WIDTH - LEFT - RIGHT)), 1)

    def y(self, time: float) -> float:
        share = np.log(time / SHORTEST) / np.log(LONGEST / SHORTEST)
        return round(float(HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)), 1)


def time_current_figure(found: Coordination, key: str = "time_current") -> Figure | None:
    """The picture of one path, or None where nothing could be swept."""
    if found.sweep is None:
        return None
    asked = found.asked
    lines = [line for line in _lines(found) if line.points]
    scale = _scale(asked, lines)
    return Figure(key, f"Time and current: {asked.pair}", _svg(key, found, scale, lines),
                  _words(found), _table(key, lines, found), legend=True, wide=True)


def _scale(asked: CoordinationAsked, lines: Sequence[_Line]) -> _Scale:
    currents = [asked.fault_lowest.number, asked.fault_highest.number,
                *(i for line in lines for i, _ in line.points)]
    low = _mark_below(0.9 * min(currents))
    high = max(_mark_above(1.6 * asked.fault_highest.number), 10.0 * low)
    return _Scale(low, high)


def _mark_below(current: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above a current."""
    decade = 10.0 ** np.floor(np.log10(current))
    return float(max(step * decade for step in (1, 2, 5) if step * decade <= current))


def _mark_above(current: float) -> float:
    decade = 10.0 ** np.floor(np.log10(current))
    return float(min(step * decade for step in (1, 2, 5, 10) if step * decade >= current))


# -- what is drawn ----------------------------------------------------------------------------


def _lines(found: Coordination) -> Iterable[_Line]:
    asked, swept = found.asked, found.sweep
    assert swept is not None
    melting, clearing = swept.fuse.melting, swept.fuse.clearing
    yield _curve_line("A", "solid", "fuse, earliest melting", melting)
    yield _curve_line("B", "solid", "fuse, total clearing", clearing)
    yield _cable_line(asked)
    for (mark, look), conductor in zip(_OTHER_CONDUCTORS, asked.conductors, strict=False):
        yield _conductor_line(mark, look, conductor)
    part = asked.contactor
    if part is not None and part.short_time is not None:
        yield _curve_line("D", "dots", "contactor, closed: withstand", part.short_time.curve)
    yield from _trip_lines(found)
    yield _load_line(asked)


def _curve_line(mark: str, look: str, what: str, curve: Curve | None) -> _Line:
    points = tuple(zip(curve.currents, curve.times, strict=True)) if curve else ()
    figures = "; ".join(f"{show(t, 's')}: {show(i, 'A')}" for i, t in points)
    return _Line(mark, look, f"{what} ({curve.title})" if curve else what, points,
                 figures=figures)


def _cable_line(asked: CoordinationAsked) -> _Line:
    """k²S²/I² up to five seconds, then straight up at the continuous current."""
    withstand, steady = number(asked.cable_withstand), number(asked.cable_current)
    if withstand is None:
        return _Line("C", "dashes", asked.cable_name, ())
    slow = float(np.sqrt(withstand / LONGEST_ADIABATIC))
    fast = float(np.sqrt(withstand / SHORTEST))
    points = [(fast, SHORTEST), (slow, float(adiabatic_time(withstand, slow)))]
    figures = f"k²S² {show(withstand, 'A²s')}, up to {LONGEST_ADIABATIC:g} s"
    if steady is not None and steady < slow:
        points += [(steady, LONGEST_ADIABATIC), (steady, LONGEST)]
        figures += f"; continuous {show(steady, 'A')}"
    return _Line("C", "dashes", f"{asked.cable_name}: limit", tuple(points), figures=figures)


def _conductor_line(mark: str, look: str, conductor: PathConductor) -> _Line:
    """k²S²/I² up to five seconds, and no further right than the conductor's own most current."""
    withstand, most = number(conductor.withstand), number(conductor.most)
    if withstand is None:
        return _Line(mark, look, conductor.name, ())
    fast = float(np.sqrt(withstand / SHORTEST))
    fast = fast if most is None else min(fast, most)
    slow = float(np.sqrt(withstand / LONGEST_ADIABATIC))
    figures = f"{show(withstand, 'A²s')}, up to {LONGEST_ADIABATIC:g} s"
    if most is not None:
        figures += f"; one of several paths, at most {show(most, 'A')}"
    points = ((fast, withstand / fast ** 2), (slow, LONGEST_ADIABATIC)) if slow < fast else ()
    return _Line(mark, look, f"{conductor.name}: limit", points, figures=figures)


def _trip_lines(found: Coordination) -> Iterable[_Line]:
    """The contactor's window: each trip from its current to the breaking limit."""
    assert found.sweep is not None
    side = found.sweep.contactor
    for mark, line in zip("EFG", side.lines, strict=False):
        if side.limit > line.from_current:
            time = line.delay + side.opening
            state = "" if not side.reasons else ", not counted: " + "; ".join(side.reasons)
            yield _Line(mark, "long", f"contactor opens on the {line.name}{state}"
                        f"{_warm(found, line.name)}",
                        ((line.from_current, BRACKET * time), (line.from_current, time),
                         (side.limit, time), (side.limit, BRACKET * time)),
                        figures=f"{show(line.from_current, 'A')} to {show(side.limit, 'A')} in "
                                f"{show(time, 's')}")


def _warm(found: Coordination, name: str) -> str:
    """What a trip that follows the cells' temperature is set to at most, in words."""
    trips = found.asked.trips
    if trips is None or trips.moving is None or trips.moving.highest is None or name != trips.name:
        return ""
    return (f", drawn at the setting that counts against a fault; warm cells up to "
            f"{trips.moving.highest.shown}")


def _load_line(asked: CoordinationAsked) -> _Line:
    """The load as a staircase: peak up to its length, continuous beyond."""
    peak, steady = number(asked.peak_load), number(asked.continuous_load)
    length = number(asked.peak_duration)
    if peak is None or steady is None or length is None or min(peak, steady, length) <= 0:
        return _Line("H", "thin", "load", ())
    points = ((peak, SHORTEST), (peak, length), (steady, length), (steady, LONGEST))
    return _Line("H", "thin", "load: peak, then continuous", points,
                 figures=f"{show(peak, 'A')} for {show(length, 's')}; {show(steady, 'A')}")


# -- drawing ----------------------------------------------------------------------------------


def _svg(key: str, found: Coordination, scale: _Scale, lines: Sequence[_Line]) -> str:
    name = "".join(c if c.isalnum() else "-" for c in key)
    title = escape(f"Time and current: {found.asked.pair}")
    body = [
        f'<svg class="{PREFIX}" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'aria-labelledby="{name}-title">',
        f'<title id="{name}-title">{title}</title>', _style(), _defs(name),
        *_grid(scale), *_areas(name, found, scale),
        f'<g clip-path="url(#{name}-frame)">',
        *(_path(line, scale) for line in lines), "</g>",
        f'<rect class="{PREFIX}-box" x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT - RIGHT}" '
        f'height="{HEIGHT - TOP - BOTTOM}"/>',
        *_marks(lines, scale), *_fault_marks(found.asked, scale), "</svg>"]
    return "\n".join(body)


def _style() -> str:
    p = f".{PREFIX}"
    return (f"<style>{p}{{min-width:34rem;max-width:100%;height:auto;background:#fff}}"
            f"{p} text{{font:14px sans-serif;fill:#111}}"
            f"{p}-line{{fill:none;stroke:#111;stroke-width:2}}"
            f"{p}-dashes{{stroke-dasharray:9 5;stroke-width:2.4}}"
            f"{p}-wide{{stroke-dasharray:22 5;stroke-width:2.4}}"
            f"{p}-twice{{stroke-dasharray:12 3 2 3 2 3;stroke-width:2.4}}"
            f"{p}-dots{{stroke-dasharray:2 4;stroke-width:2.6}}"
            f"{p}-long{{stroke-dasharray:16 4 3 4;stroke-width:2.4}}"
            f"{p}-thin{{stroke-width:1.1}}"
            f"{p}-grid{{stroke:#c9c9c9;stroke-width:.7}}{p}-fine{{stroke:#ececec;stroke-width:.6}}"
            f"{p}-box{{fill:none;stroke:#111;stroke-width:1.2}}"
            f"{p}-fault{{stroke:#111;stroke-width:1.6;stroke-dasharray:4 3}}"
            f"{p}-tag{{fill:#fff;stroke:#111;stroke-width:1}}"
            f"{p}-tag-text{{font-weight:700;text-anchor:middle}}</style>")


def _defs(name: str) -> str:
    frame = (f'<clipPath id="{name}-frame"><rect x="{LEFT}" y="{TOP}" '
             f'width="{WIDTH - LEFT - RIGHT}" height="{HEIGHT - TOP - BOTTOM}"/></clipPath>')
    band = (f'<pattern id="{name}-band" width="7" height="7" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><line x1="0" y1="0" x2="0" y2="7" stroke="#8a8a8a" '
            'stroke-width="1"/></pattern>')
    hole = (f'<pattern id="{name}-hole" width="8" height="8" patternUnits="userSpaceOnUse">'
            '<path d="M0 0L8 8M8 0L0 8" stroke="#666" stroke-width=".8"/></pattern>')
    return f"<defs>{frame}{band}{hole}</defs>"


def _grid(scale: _Scale) -> Iterable[str]:
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    for decade in np.arange(round(np.log10(scale.low)), round(np.log10(scale.high)) + 1):
        for step in range(1, 10):
            current = step * 10.0 ** decade
            if scale.low <= current <= scale.high:
                x = scale.x(current)
                look = "grid" if step == 1 else "fine"
                yield (f'<line class="{PREFIX}-{look}" x1="{x}" y1="{TOP}" x2="{x}" '
                       f'y2="{bottom}"/>')
                if step == 1:
                    words = _plain(current)
                    yield _text(min(x, WIDTH - HALF_DIGIT * len(words)), bottom + 22, words,
                                "middle")
    for decade in range(-3, 4):
        y = scale.y(10.0 ** decade)
        yield f'<line class="{PREFIX}-grid" x1="{LEFT}" y1="{y}" x2="{right}" y2="{y}"/>'
        yield _text(LEFT - 8, y + 4, _plain(10.0 ** decade), "end")
    yield _text((LEFT + right) / 2, HEIGHT - 22, "prospective current, A", "middle")
    middle = (TOP + bottom) / 2
    yield (f'<text transform="translate(20 {middle}) rotate(-90)" text-anchor="middle">'
           "time, s</text>")


def _plain(value: float) -> str:
    return f"{value:g}" if 1e-3 <= value < 1e6 else f"{value:.0e}"


def _text(x: float, y: float, words: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _areas(name: str, found: Coordination, scale: _Scale) -> Iterable[str]:
    """The fuse band between its curves, and each hole from top to bottom."""
    assert found.sweep is not None
    melting, clearing = found.sweep.fuse.melting, found.sweep.fuse.clearing
    if melting is not None and clearing is not None:
        ring = [*zip(melting.currents, melting.times, strict=True),
                *reversed(list(zip(clearing.currents, clearing.times, strict=True)))]
        places = " ".join(f"{scale.x(i)},{scale.y(t)}" for i, t in ring)
        yield (f'<polygon points="{places}" fill="url(#{name}-band)" '
               f'clip-path="url(#{name}-frame)"/>')
    for index, hole in enumerate(found.holes):
        left, right = scale.x(hole.low), scale.x(hole.high)
        yield (f'<rect x="{left}" y="{TOP}" width="{max(2.0, right - left):.1f}" '
               f'height="{HEIGHT - TOP - BOTTOM}" fill="url(#{name}-hole)"/>')
        yield _tag((left + right) / 2, TOP + 16 if index % 2 == 0 else TOP + 40, HOLE)


def _path(line: _Line, scale: _Scale) -> str:
    places = " ".join(f"{scale.x(i)},{scale.y(t)}" for i, t in line.points)
    return f'<polyline class="{PREFIX}-line {PREFIX}-{line.look}" points="{places}"/>'


def _marks(lines: Sequence[_Line], scale: _Scale) -> Iterable[str]:
    """A letter on each line, moved along it until it stands clear of the letters before."""
    taken: list[tuple[float, float]] = []
    for line in lines:
        spots = [(scale.x(i), scale.y(t)) for i, t in _along(line.points)]
        inside = [(x, y) for x, y in spots if LEFT + 10 <= x <= WIDTH - RIGHT - 10
                  and TOP + 10 <= y <= HEIGHT - BOTTOM - 10]
        if not inside:  # the line lies outside the picture; the table has it all the same
            continue
        x, y = next((s for s in inside if all(abs(s[0] - a) > 24 or abs(s[1] - b) > 24
                                              for a, b in taken)), inside[0])
        taken.append((x, y))
        yield _tag(x, y, line.mark)


def _tag(x: float, y: float, mark: str) -> str:
    return (f'<circle class="{PREFIX}-tag" cx="{x:.1f}" cy="{y:.1f}" r="9.5"/>'
            f'<text class="{PREFIX}-tag-text" x="{x:.1f}" y="{y + 4.9:.1f}">{escape(mark)}</text>')


def _along(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Places along a line on logarithmic scales, its middle first."""
    logs = np.log(np.array(points))
    shares = np.linspace(0.02, 0.98, 49)
    at = shares[np.argsort(np.abs(shares - 0.5), kind="stable")] * (len(points) - 1)
    index = np.arange(len(points))
    currents, times = (np.exp(np.interp(at, index, logs[:, n])) for n in (0, 1))
    return [(float(i), float(t)) for i, t in zip(currents, times, strict=True)]


def _fault_marks(asked: CoordinationAsked, scale: _Scale) -> Iterable[str]:
    """Lowest and highest fault as lines through the frame, each with its own row above."""
    bottom = HEIGHT - BOTTOM
    rows = ((asked.fault_lowest, "lowest fault", TOP - 8 - LANE),
            (asked.fault_highest, "highest, modules alone", TOP - 8))
    for finding, words, y in rows:
        x = scale.x(finding.number)
        near = x > WIDTH / 2
        yield f'<line class="{PREFIX}-fault" x1="{x}" y1="{y - 9}" x2="{x}" y2="{bottom}"/>'
        yield _text(x - 6 if near else x + 6, y, f"{words} {finding.most}{finding.shown}",
                    "end" if near else "start")


# -- words and data ---------------------------------------------------------------------------


def _words(found: Coordination) -> str:
    asked, swept = found.asked, found.sweep
    assert swept is not None
    parts = [f"Both scales are logarithmic. The range swept runs from "
             f"{asked.fault_lowest.most}{asked.fault_lowest.shown} to "
             f"{asked.fault_highest.shown}, from the modules "
             "alone; other sources come on top."]
    if asked.cable_current is not None and asked.cable_current.known:
        parts.append(f"Beyond {show(LONGEST_ADIABATIC, 's')} the cable's limit is its continuous "
                     "current alone; the peak load is judged at its end, with the cable.")
    if np.isfinite(swept.fuse.low):
        parts.append(f"The fuse counts from {significant(swept.fuse.low)} A "
                     f"({swept.fuse.why_low}).")
    if not swept.contactor.reasons:
        parts.append(f"The contactor counts from {significant(swept.contactor.low)} A to "
                     f"{significant(swept.contactor.limit)} A.")
    holes = [f"{h.words} from {show(h.low, 'A')} to {show(h.high, 'A')}" for h in found.unopened]
    through = f"from pole to pole{f' through {asked.fuse.name}' if asked.fuse else ''}"
    parts.append(f"Cross-hatched, {through}: " + "; ".join(holes) + "." if holes else
                 f"There is no hole {through}: every current of the range is opened there.")
    told = next((c for c in found.item.checks if c.title == EVERY and c.verdict == CAUTION), None)
    if told is not None:
        parts.append(f"Fault places that pass it, and leave currents open, stand under "
                     f"'{told.title}'.")
    return " ".join((*parts, *_heat_words(found)))


def _heat_words(found: Coordination) -> Iterable[str]:
    """The most heat of this path, and of its cable at another fault place where that is more."""
    heat, at = found.worst_heat, found.worst_heat_at
    if heat is not None and at is not None:
        where = f"{SECOND} through the fuse's pole" if SECOND in at.title else " from pole to pole"
        yield f"Most heat of this path,{where}: {heat.shown} at {at.shown}."
    for one, more, where_at in found.conductor_heat:
        if one.name == found.asked.cable_name:
            yield f"More gets into {one.name} elsewhere: {more.shown} at {where_at.shown}, " \
                  f"{where_at.note}."


_LOOKS = {"solid": "full line", "dashes": "dashed", "dots": "dotted",
          "wide": "long dashes", "twice": "dash and two dots",
          "long": "dash and dot", "thin": "thin line"}


def _table(key: str, lines: Sequence[_Line], found: Coordination) -> Table:
    columns = (Column("mark", "Mark"), Column("look", "Line"), Column("what", "What", wide=True),
               Column("figures", "Points", wide=True))
    rows = tuple((Cell(line.mark), Cell(_LOOKS[line.look]), Cell(line.what), Cell(line.figures))
                 for line in lines) + tuple(
        (Cell(HOLE), Cell("cross-hatched"), Cell(f"hole: {hole.words}"),
         Cell(f"{show(hole.low, 'A')} to {show(hole.high, 'A')}")) for hole in found.unopened)
    return Table(f"{key}_lines", "Lines of the picture", columns, rows,
                 "The fuse band between A and B is hatched one way, a hole is cross-hatched.")

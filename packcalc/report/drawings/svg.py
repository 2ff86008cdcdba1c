"""Small makers of inline SVG, shared by every picture of the report.

A picture is drawn for a column as narrow as a phone and grows to `MAX_WIDTH` elsewhere,
less where it would not fit a printed page.
It carries no style sheet (one inside inline SVG would apply to the whole page), black
ink only, and ids that begin with the figure's key. Texts are escaped here and nowhere
else. There are no text metrics in SVG: `text_width` errs wide.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from packcalc.errors import ProgramFault

WIDTH = 340.0
SIZE = 12.0
LEADING = 14.0
MAX_WIDTH, LEAST_WIDTH = 30.0, 20.0  # rem; a phone has about 20
ONE_PAGE = 820.0  # a picture taller than this at full width would be cut by a printed page
FONT = "Arial, 'Liberation Sans', 'Segoe UI', sans-serif"
INK, PAPER = "#000", "#fff"
LINE = 1.2  # width of a line that nobody asks otherwise

# Dashes by meaning, the same in every picture.
SOLID, DASHED, DOTTED, CHAIN = "", "6 3", "1.5 2.5", "9 3 2 3"

_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_ENTITIES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;"})
_NARROW, _WIDE = frozenset(" .,:;'|!ijlIfrt()[]/-·"), frozenset("mMW%@ΩΔ—…")


def escape(text: str) -> str:
    """Text for SVG: markup as characters, controls that XML forbids as a mark.

    Examples:
        >>> escape('<b>"A" & B')
        '&lt;b&gt;&quot;A&quot; &amp; B'
    """
    return _FORBIDDEN.sub("\ufffd", text).translate(_ENTITIES)


def text_width(text: str, size: float = SIZE) -> float:
    """Upper estimate of the width of a text.

    Examples:
        >>> text_width("Ω") > text_width("a") > text_width(".") > 0
        True
    """
    return size * sum(_letter(character) for character in text)


def _letter(character: str) -> float:
    if character in _NARROW:
        return 0.4
    if character in _WIDE:
        return 0.92
    if ord(character) > 0x2E7F:
        return 1.1
    return 0.72 if character.isupper() else 0.6


def clip(text: str, width: float, size: float = SIZE) -> str:
    """The text, or as much of it as fits with an ellipsis.

    Examples:
        >>> clip("abcdefghij", 40)
        'abcd…'
    """
    if text_width(text, size) <= width:
        return text
    kept = text
    while kept and text_width(kept + "…", size) > width:
        kept = kept[:-1]
    return kept + "…"


def wrap(text: str, width: float, most: int = 4, size: float = SIZE) -> tuple[str, ...]:
    """Lines no wider than `width`; what does not fit in `most` lines ends in an ellipsis.

    Examples:
        >>> wrap("main fuse at least 250 A", 90)
        ('main fuse at', 'least 250 A')
    """
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[:most - 1], " ".join(lines[most - 1:])]
    return tuple(clip(line, width, size) for line in lines)


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places as near as can be to the wanted ones, in their order, `gap` apart.

    Neighbours that would touch are moved together as one block about their mean.

    Args:
        wanted: in any order; the answer has the same order.
        gap: least distance of two places.
        low, high: ends of the span.

    Raises:
        ProgramFault: the span is too short.

    Examples:
        >>> spread([10.0, 12.0, 50.0], 10.0, 0.0, 60.0)
        [6.0, 16.0, 50.0]
    """
    if (len(wanted) - 1) * gap > high - low + 1e-9:
        raise ProgramFault(f"{len(wanted)} labels do not fit between {low:g} and {high:g}")
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    blocks: list[list[float]] = []  # each: first place, members
    for index in order:
        blocks.append([_inside(wanted[index], 1, gap, low, high), 1, wanted[index]])
        while len(blocks) > 1 and blocks[-2][0] + gap * blocks[-2][1] > blocks[-1][0]:
            _, number, total = blocks.pop()
            one, count, sum_ = blocks[-1]
            members = count + number
            # `total` is the sum of the first place that each member would like.
            joined = sum_ + total - gap * count * number
            blocks[-1] = [_inside(joined / members, members, gap, low, high), members, joined]
    places = [first + gap * i for first, count, _ in blocks for i in range(int(count))]
    found = [0.0] * len(wanted)
    for place, index in zip(places, order, strict=True):
        found[index] = place
    return found


def _inside(first: float, count: float, gap: float, low: float, high: float) -> float:
    return min(max(first, low), high - gap * (count - 1))


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round numbers between two ends.

    Examples:
        >>> ticks(0.0, 3.3)
        [0.0, 1.0, 2.0, 3.0]
    """
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= raw * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(i * step, 12) for i in range(first, last + 1)]


def _tagged(text: str, tag: str) -> str:
    if not tag or not text.startswith(tag):
        return escape(text)
    return f'<tspan font-weight="700">{escape(tag)}</tspan>{escape(text[len(tag):])}'


def _drawn(fill: str, weight: float) -> str:
    """Attributes of a shape that differ from those of the group that holds all shapes."""
    filled = "" if fill == "none" else f' fill="{fill}"'
    return filled if weight == LINE else f'{filled} stroke-width="{_n(weight)}"'


def _n(value: float) -> str:
    if not math.isfinite(value):
        raise ProgramFault("a picture was given a coordinate that is no number")
    return f"{value:.1f}".removesuffix(".0")


Point = tuple[float, float]


@dataclass
class Canvas:
    """A picture in the making; every id begins with `key`."""

    key: str
    width: float = WIDTH
    _parts: list[str] = field(default_factory=list)
    _texts: list[str] = field(default_factory=list)
    _patterns: dict[str, str] = field(default_factory=dict)

    def line(self, points: Iterable[Point], *, weight: float = LINE, dash: str = SOLID,
             **data: str) -> None:
        """A line through points; `data` goes into data- attributes."""
        path = "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
        self.path(path, weight=weight, dash=dash, **data)

    def path(self, path: str, *, weight: float = LINE, dash: str = SOLID, fill: str = "none",
             **data: str) -> None:
        """Any path in absolute coordinates."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        more = "".join(f' data-{k}="{escape(v)}"' for k, v in data.items())
        self._parts.append(f'<path d="{path}"{_drawn(fill, weight)}{dashes}{more}/>')

    def rect(self, corner: Point, size: Point, *, weight: float = LINE, dash: str = SOLID,
             fill: str = PAPER) -> None:
        """A rectangle from its upper left corner."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<rect x="{_n(corner[0])}" y="{_n(corner[1])}" width="{_n(size[0])}" '
            f'height="{_n(size[1])}"{_drawn(fill, weight)}{dashes}/>')

    def dot(self, centre: Point, radius: float = 2.2, *, fill: str = INK, **data: str) -> None:
        """A small circle."""
        more = "".join(f' data-{k}="{escape(v)}"' for k, v in data.items())
        self._parts.append(f'<circle cx="{_n(centre[0])}" cy="{_n(centre[1])}" '
                           f'r="{_n(radius)}"{_drawn(fill, LINE)}{more}/>')

    def text(self, at: Point, text: str, *, anchor: str = "start", size: float = SIZE,
             bold: bool = False, tag: str = "") -> None:
        """One line of text on its base line, above all lines and with a rim of paper.

        A `tag` with which the text begins is printed bold.
        """
        weight = ' font-weight="700"' if bold else ""
        letters = "" if size == SIZE else f' font-size="{_n(size)}"'
        where = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._texts.append(f'<text x="{_n(at[0])}" y="{_n(at[1])}"{where}{letters}{weight}>'
                           f"{_tagged(text, tag)}</text>")

    def lines(self, at: Point, lines: Sequence[str], *, anchor: str = "start",
              tags: Sequence[str] = ()) -> None:
        """Several lines of text, the first on the base line given; tags in bold."""
        for number, line in enumerate(lines):
            tag = next((t for t in tags if t and f"{line} ".startswith((f"{t} ", f"{t}: "))), "")
            self.text((at[0], at[1] + number * LEADING), line, anchor=anchor, tag=tag)

    def hatch(self, name: str, spacing: float = 5.0, *, rising: bool = True,
              crossed: bool = False) -> str:
        """A hatching to fill with; returns the value for `fill`."""
        s = _n(spacing)
        rise, fall = f"M0 {s}L{s} 0", f"M0 0L{s} {s}"
        strokes = rise + fall if crossed else (rise if rising else fall)
        mark = f"{self.key}-{name}"
        self._patterns[mark] = (
            f'<pattern id="{mark}" width="{s}" height="{s}" patternUnits="userSpaceOnUse">'
            f'<path d="{strokes}" stroke="{INK}" stroke-width="0.7" fill="none"/></pattern>')
        return f"url(#{mark})"

    def finish(self, height: float, title: str, description: str,
               breaks: Sequence[float] = ()) -> str:
        """The whole `<svg>`.

        Args:
            height: of the picture.
            title, description: its text equivalent.
            breaks: heights at which a tall picture may be cut, for paper.
        """
        patterns = "".join(self._patterns.values())
        widest = max(LEAST_WIDTH, MAX_WIDTH * min(1.0, ONE_PAGE / height))
        definitions = f"<defs>{patterns}</defs>" if patterns else ""
        cut = min(breaks, key=lambda y: abs(y - height / 2), default=0.0)
        cuts = f' data-cut="{_n(cut)}"' if height > ONE_PAGE and cut else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(self.width)} {_n(height)}" '
            f'width="100%" style="max-width:{_n(widest)}rem;height:auto" role="img" '
            f'aria-labelledby="{self.key}-title" aria-describedby="{self.key}-desc"{cuts}>'
            f'<title id="{self.key}-title">{escape(title)}</title>'
            f'<desc id="{self.key}-desc">{escape(description)}</desc>{definitions}'
            f'<g id="{self.key}-all" font-family="{FONT}" font-size="{_n(SIZE)}" fill="{INK}">'
            f'<g fill="none" stroke="{INK}" stroke-width="{_n(LINE)}">{"".join(self._parts)}</g>'
            f'<g stroke="{PAPER}" stroke-width="3" stroke-linejoin="round" '
            f'paint-order="stroke">{"".join(self._texts)}</g></g></svg>')

"""Symbols of the one-line diagram, drawn by ourselves in the manner of IEC 60617.

Each is drawn about a place along its conductor, from `-HALF` to `HALF`: lying, with the
positive end on the left, or standing, with the positive end on top.
"""

from __future__ import annotations

from packcalc.report.drawings.svg import INK, PAPER, Canvas, Point
from packcalc.value import value_object

HALF = 14.0


@value_object
class Spot:
    """Where a symbol stands, and whether its conductor runs downwards."""

    x: float
    y: float
    standing: bool = False

    def at(self, along: float, across: float) -> Point:
        """A point given along the conductor and across it, on the page."""
        if self.standing:
            return self.x - across, self.y + along
        return self.x + along, self.y + across

    @property
    def ends(self) -> tuple[Point, Point]:
        return self.at(-HALF, 0), self.at(HALF, 0)


def _box(canvas: Canvas, spot: Spot, along: float, across: float) -> None:
    corners = [spot.at(a, b) for a, b in ((-along, -across), (along, across))]
    left, top = min(c[0] for c in corners), min(c[1] for c in corners)
    size = (abs(corners[0][0] - corners[1][0]), abs(corners[0][1] - corners[1][1]))
    canvas.rect((left, top), size)


def _leads(canvas: Canvas, spot: Spot, inner: float) -> None:
    canvas.line((spot.at(-HALF, 0), spot.at(-inner, 0)))
    canvas.line((spot.at(inner, 0), spot.at(HALF, 0)))


def resistor(canvas: Canvas, spot: Spot) -> None:
    """A rectangle that the conductor does not cross."""
    _leads(canvas, spot, 11)
    _box(canvas, spot, 11, 4.5)


def fuse(canvas: Canvas, spot: Spot) -> None:
    """A rectangle that the conductor crosses."""
    _box(canvas, spot, 11, 4.5)
    canvas.line(spot.ends)


def _contact(canvas: Canvas, spot: Spot) -> None:
    _leads(canvas, spot, 8)
    canvas.line((spot.at(8, 0), spot.at(-7.5, -8)))


def contactor(canvas: Canvas, spot: Spot) -> None:
    """A make contact with the half circle of a contactor at its fixed end."""
    _contact(canvas, spot)
    (ax, ay), (bx, by) = spot.at(-8, 0), spot.at(-3, 0)
    turn = 0 if spot.standing else 1
    canvas.path(f"M{ax:.1f} {ay:.1f}A2.5 2.5 0 0 {turn} {bx:.1f} {by:.1f}")


def disconnect(canvas: Canvas, spot: Spot) -> None:
    """A make contact with the bar of a disconnector at its fixed end."""
    _contact(canvas, spot)
    canvas.line((spot.at(-8, -4), spot.at(-8, 4)), weight=1.6)


def battery(canvas: Canvas, spot: Spot) -> None:
    """Long plate positive, short plate negative; the dots stand for the cells between."""
    _leads(canvas, spot, 8)
    for along in (-8, 4):
        canvas.line((spot.at(along, -9), spot.at(along, 9)))
        canvas.line((spot.at(along + 4, -5), spot.at(along + 4, 5)), weight=2.6)
    canvas.line((spot.at(-3, 0), spot.at(3, 0)), dash="1.5 1.5")


def capacitor(canvas: Canvas, spot: Spot) -> None:
    """Two plates alike."""
    _leads(canvas, spot, 2.5)
    for along in (-2.5, 2.5):
        canvas.line((spot.at(along, -9), spot.at(along, 9)), weight=1.8)


def inlet(canvas: Canvas, spot: Spot) -> None:
    """Two contacts of a socket, open to the plug below."""
    for along in (-8, 8):
        x, y = spot.at(along, 6)
        canvas.path(f"M{x - 4:.1f} {y:.1f}A4 4 0 0 1 {x + 4:.1f} {y:.1f}")
        canvas.line(((x, y - 4), (x, spot.y)))
    canvas.line((spot.at(-HALF, 0), spot.at(-8, 0)))
    canvas.line((spot.at(8, 0), spot.at(HALF, 0)))


def chassis(canvas: Canvas, at: Point) -> None:
    """Connection to the chassis: a bar with three slanting strokes."""
    x, y = at
    canvas.line(((x - 8, y), (x + 8, y)))
    for shift in (-7, 0, 7):
        canvas.line(((x + shift, y), (x + shift - 4, y + 6)))


def converter(canvas: Canvas, centre: Point, *, alternating: bool) -> None:
    """A square with a diagonal: direct on the upper left, what comes out on the lower right."""
    x, y = centre
    canvas.rect((x - 18, y - 18), (36, 36))
    canvas.line(((x - 18, y + 18), (x + 18, y - 18)))
    for shift in (-2, 2):
        canvas.line(((x - 14, y - 10 + shift), (x - 4, y - 10 + shift)))
    if alternating:
        canvas.path(f"M{x + 3:.1f} {y + 10:.1f}q3 -6 6 0t6 0")
        return
    for shift in (-2, 2):
        canvas.line(((x + 4, y + 10 + shift), (x + 14, y + 10 + shift)))


def monitor(canvas: Canvas, spot: Spot) -> None:
    """A box that acts when a resistance falls."""
    _leads(canvas, spot, 12)
    canvas.rect((spot.x - 12, spot.y - 9), (24, 18), fill=PAPER)
    canvas.text((spot.x, spot.y + 4), "R <", anchor="middle")


def load(canvas: Canvas, spot: Spot, tag: str) -> None:
    """A plain box with a tag: whatever the branch feeds."""
    canvas.rect((spot.x - 16, spot.y - 9), (32, 18))
    canvas.text((spot.x, spot.y + 4), tag, anchor="middle", bold=True)


def management(canvas: Canvas, spot: Spot, tag: str) -> None:
    """A box with a tag that many wires reach: the management system."""
    canvas.rect((spot.x - 20, spot.y - 24), (40, 48))
    canvas.text((spot.x, spot.y + 4), tag, anchor="middle", bold=True)


def junction(canvas: Canvas, at: Point) -> None:
    """A dot where conductors join."""
    canvas.dot(at, 2.4, fill=INK)

"""Columns of one part that cannot all be true; the parts list tells each at the row of the part."""

from __future__ import annotations

from collections.abc import Iterator

from packcalc.parts import CablePart, FusePart, Part
from packcalc.units import show, significant

Contradiction = tuple[str, str, str]  # (column, what is wrong, what would be right)

COPPER = 1.724e-8       # Ω·m, annealed copper at 20 °C (IEC 60028, remembered)
LEAST_OF_COPPER = 0.9   # our rule: a section may be a little more than its name says
MOST_OF_ONE = 60.0      # A for 1 mm², our rule; tables rise with about the section to the 0.625
ROUNDED = 0.05          # sheets print their figures rounded
# (lower, higher): the first may not lie above the second, whatever the kind of part.
RISING = (
    ("melting_i2t", "clearing_i2t"), ("lowest_breaking_current", "breaking_capacity"),
    ("rated_current", "breaking_capacity"), ("rated_current", "lowest_breaking_current"),
    ("rated_current", "fusing_current"), ("rated_current", "cut_off_current"),
    ("rating_ambient", "link_constant"), ("channel_low", "channel_high"),
    ("channels_each", "cell_channels"), ("insulation_class", "short_circuit_temperature"),
)


def contradictions(part: Part) -> Iterator[Contradiction]:
    """Every set of columns that exclude each other."""
    for lower, higher in RISING:
        low, high = getattr(part, lower, None), getattr(part, higher, None)
        if low is not None and high is not None and low.number > high.number:
            yield (higher, f"{high.shown} lies below {lower} ({low.shown})",
                   "mend one of the two")
    if isinstance(part, FusePart):
        yield from _fuse(part)
    if isinstance(part, CablePart):
        yield from _copper(part)
    yield from _carry(part)


def _fuse(part: FusePart) -> Iterator[Contradiction]:
    if part.full_range is False and part.fusing_current is not None:
        yield ("fusing_current", f"a partial-range link ({part.class_letters}) has no "
               "conventional fusing current", "leave the cell empty, or mend the class")
    if part.clearing_i2t_at is not None and part.clearing_i2t is None:
        yield ("clearing_i2t_at", "stands without clearing_i2t", "give both or neither")
    yield from _order_of_curves(part)
    yield from _clearing_heat(part)
    yield from _melting(part)
    yield from _arc(part)
    for curve in (part.melting, part.clearing):
        if curve and part.rated_current and curve.second[-1] <= part.rated_current.number:
            yield (curve.column.name, f"{show(curve.second[-1], 'A')} at "
                   f"{show(curve.first[-1], 's')} is not above the rated current "
                   f"{part.rated_current.shown}", "a fuse carries its rated current for ever")


def _order_of_curves(part: FusePart) -> Iterator[Contradiction]:
    """A link melts before it clears, at every current and within every time."""
    if not (part.melting and part.clearing):
        return
    right = "a link melts before it clears: check both columns"
    crossed_at = part.melting.curve.above(part.clearing.curve)
    if crossed_at is not None:
        yield ("clearing", "the clearing curve lies below the melting curve at "
               f"{significant(crossed_at)} A", right)
        return
    late = part.melting.curve.beyond(part.clearing.curve)
    if late is not None:
        yield ("clearing", "the clearing curve lies below the melting curve at "
               f"{show(late, 's')}: by its points the link would clear within that time "
               "at a current that does not melt it", right)


def _clearing_heat(part: FusePart) -> Iterator[Contradiction]:
    """The clearing I²t against the fast end of the link's own clearing curve.

    Slow points let through more than the figure at high current, so the curve is held where it
    is about adiabatic: wholly up to 1 ms, by half up to 10 ms.
    """
    if part.clearing is None or part.clearing_i2t is None:
        return
    time, current = part.clearing.first[0], part.clearing.second[0]
    share = next((s for t, s in ((0.001, 1.0), (0.010, 0.5)) if time <= t * (1 + 1e-9)), 0.0)
    heat = current ** 2 * time
    if part.clearing_i2t.number < share * heat * (1.0 - ROUNDED):
        yield ("clearing_i2t", f"{part.clearing_i2t.shown} is less than the clearing "
               f"curve lets through at {show(time, 's')}, {show(heat, 'A²s')}",
               "the highest total clearing figure in DC: check both columns")


def _melting(part: FusePart) -> Iterator[Contradiction]:
    """The pre-arcing I²t is the lowest there is: slower melting takes more, never less."""
    melting, clearing = part.melting, part.clearing
    if melting and clearing \
            and (melting.first, melting.second) == (clearing.first, clearing.second):
        yield ("clearing", "the points are those of the melting curve, one by one",
               "a link arcs after it has melted, and clears later: check both columns")
    if melting is None or part.melting_i2t is None:
        return
    time, current = melting.first[0], melting.second[0]
    heat = current ** 2 * time
    if part.melting_i2t.number > heat * (1.0 + ROUNDED):
        yield ("melting_i2t", f"{part.melting_i2t.shown} is more than its melting curve "
               f"takes at {show(time, 's')}, {show(heat, 'A²s')}",
               "the lowest pre-arcing figure, at high current: check both columns")


def _arc(part: FusePart) -> Iterator[Contradiction]:
    """A link forces the current down by an arc voltage above its source."""
    if part.arc_voltage is None:
        return
    stated = [f.number for f in (part.rated_voltage_dc, part.clearing_i2t_at) if f is not None]
    stated += part.permitted_time_constant.first if part.permitted_time_constant else ()
    if stated and part.arc_voltage.number < min(stated) * (1.0 - 1e-9):
        yield ("arc_voltage", f"{part.arc_voltage.shown} lies below every DC voltage of "
               f"the row, the lowest {show(min(stated), 'V')}", "a link whose arc stays below "
               "the source interrupts nothing: the peak arc voltage at the working voltage")


def _copper(part: CablePart) -> Iterator[Contradiction]:
    """Resistance and current against the section of copper that the row gives."""
    if part.section is not None and part.resistance_per_length is not None:
        least = COPPER / part.section.number
        if part.resistance_per_length.number < LEAST_OF_COPPER * least:
            yield ("resistance_per_length", f"{part.resistance_per_length.shown} is less "
                   f"than copper of {part.section.shown} has",
                   f"about {show(least, 'mΩ/m')} at 20 °C: check both columns")
    points = part.current_at_ambient
    if points is None:
        return
    if part.section is not None:
        most = MOST_OF_ONE * (part.section.number * 1e6) ** 0.625
        if points.second[0] > most:
            yield ("current_at_ambient", f"{show(points.second[0], 'A')} is not "
                   f"plausible for {part.section.shown}",
                   f"at most {show(most, 'A')}: check both columns")
    if part.insulation_class is not None and points.first[-1] >= part.insulation_class.number:
        yield ("current_at_ambient", f"a current at {show(points.first[-1], '°C')}, "
               "where the air is as hot as the insulation may be "
               f"({part.insulation_class.shown})", "leave that point out, or mend the class")


def _carry(part: Part) -> Iterator[Contradiction]:
    """What is carried for a time is never less than what is carried for ever."""
    carry, ever = getattr(part, "carry", None), getattr(part, "continuous_current", None)
    if carry is None or ever is None:
        return
    least = min(range(len(carry.second)), key=lambda i: carry.second[i])
    if carry.second[least] < ever.number * (1.0 - 1e-9):
        yield ("carry", f"{show(carry.second[least], 'A')} for "
               f"{show(carry.first[least], 's')} lies below continuous_current "
               f"({ever.shown})", "what a part carries for ever it carries for a time as "
               "well: check both columns")

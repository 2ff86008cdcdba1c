"""Columns of one part that cannot all be true; the parts list tells each at the row of the part."""

from __future__ import annotations

from collections.abc import Iterator

from packcalc.parts import CablePart, ContactorPart, FusePart, Part, ResistorPart
from packcalc.units import show, significant

Contradiction = tuple[str, str, str]  # (column, what is wrong, what would be right)

COPPER = 1.724e-8       # Ω·m, annealed copper at 20 °C (IEC 60028, remembered)
LEAST_OF_COPPER = 0.9   # our rule: a section may be a little more than its name says
MOST_OF_COPPER = 10.0   # our rule: aluminium has 1.6 times as much, a bad alloy three
SLOW_POINT = 0.010      # s, our rule: faster points lie far above the rated current
LOST_THOUSAND = 100.0   # our rule: no link of a pack still holds so many times its rated current
MOST_OF_ONE = 60.0      # A for 1 mm², our rule; tables rise with about the section to the 0.625
ROUNDED = 0.05          # sheets print their figures rounded
LEAST_MELTING = 0.02    # of its curve's heat at 10 ms or less, our rule: less is a lost thousand
MOST_CLEARING = 1000.0  # times its pre-arcing figure, our rule
MOST_SLOWER = 10.0      # times the constant of the breaking test, our rule
COUNTS = ("poles", "cell_channels", "channels_each", "temperature_inputs")  # whole numbers
# (lower, higher): the first may not lie above the second, whatever the kind of part.
RISING = (
    ("melting_i2t", "clearing_i2t"), ("lowest_breaking_current", "breaking_capacity"),
    ("rated_current", "breaking_capacity"), ("rated_current", "lowest_breaking_current"),
    ("rated_current", "fusing_current"), ("rated_current", "cut_off_current"),
    ("cut_off_current", "breaking_capacity"),
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
    for name in COUNTS:
        found = getattr(part, name, None)
        if found is not None and found.number != int(found.number):
            yield (name, f"{found.shown} is no whole number", "count them")
    if isinstance(part, ResistorPart):
        yield from _pulse(part)
    if isinstance(part, FusePart):
        yield from _fuse(part)
    if isinstance(part, CablePart):
        yield from _copper(part)
    if isinstance(part, ContactorPart):
        yield from _tested(part)
    yield from _carry(part)


def _fuse(part: FusePart) -> Iterator[Contradiction]:
    if part.full_range is False and part.fusing_current is not None:
        yield ("fusing_current", f"a partial-range link ({part.class_letters}) has no "
               "conventional fusing current", "leave the cell empty, or mend the class")
    if part.clearing_i2t_at is not None and part.clearing_i2t is None:
        yield ("clearing_i2t_at", "stands without clearing_i2t", "give both or neither")
    yield from _holds(part)
    yield from _order_of_curves(part)
    yield from _clearing_heat(part)
    yield from _melting(part)
    yield from _arc(part)
    for curve in (part.melting, part.clearing):
        if curve and part.rated_current and curve.second[-1] <= part.rated_current.number:
            yield (curve.column.name, f"{show(curve.second[-1], 'A')} at "
                   f"{show(curve.first[-1], 's')} is not above the rated current "
                   f"{part.rated_current.shown}", "a fuse carries its rated current for ever")


def _holds(part: FusePart) -> Iterator[Contradiction]:
    """A slow point of the melting curve lies within a decade or so of what the link carries."""
    rated, melting = part.rated_current, part.melting or part.clearing
    if rated is None or melting is None or melting.first[-1] < SLOW_POINT:
        return
    holds = melting.second[-1]
    if holds > LOST_THOUSAND * rated.number:
        yield ("rated_current", f"{rated.shown} is less than a hundredth of what its "
               f"{melting.column.name} curve holds for {show(melting.first[-1], 's')}, "
               f"{show(holds, 'A')}", "check both columns for a lost thousand")


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
    figure, clears = part.melting_i2t, part.clearing_i2t
    if figure is None:
        return
    if clears is not None and clears.number > MOST_CLEARING * figure.number:
        yield ("melting_i2t", f"{figure.shown} is less than a thousandth of clearing_i2t "
               f"({clears.shown})", "check both columns for a lost thousand")
        return
    if melting is None:
        return
    time, current = melting.first[0], melting.second[0]
    heat = current ** 2 * time
    if time <= 0.010 * (1 + 1e-9) and figure.number < LEAST_MELTING * heat:
        yield ("melting_i2t", f"{figure.shown} is less than a fiftieth of what its melting "
               f"curve takes at {show(time, 's')}, {show(heat, 'A²s')}",
               "check both columns for a lost thousand")
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


def _pulse(part: ResistorPart) -> Iterator[Contradiction]:
    """What it carries for ever it takes in a pulse as well."""
    power, pulse = part.rated_power, part.pulse_energy
    if power is None or pulse is None:
        return
    for time, energy in zip(pulse.first, pulse.second, strict=True):
        least = power.number * time
        if energy < least * (1.0 - ROUNDED):
            yield ("rated_power", f"{power.shown} for ever makes {show(least, 'J')} in "
                   f"{show(time, 's')}, and pulse_energy gives {show(energy, 'J')} there",
                   "check both columns")
            return


def _copper(part: CablePart) -> Iterator[Contradiction]:
    """Resistance and current against the section of copper that the row gives."""
    if part.section is not None and part.resistance_per_length is not None:
        least = COPPER / part.section.number
        if part.resistance_per_length.number < LEAST_OF_COPPER * least:
            yield ("resistance_per_length", f"{part.resistance_per_length.shown} is less "
                   f"than copper of {part.section.shown} has",
                   f"about {show(least, 'mΩ/m')} at 20 °C: check both columns")
        if part.resistance_per_length.number > MOST_OF_COPPER * least:
            yield ("resistance_per_length", f"{part.resistance_per_length.shown} is more than ten "
                   f"times what copper of {part.section.shown} has",
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


def _tested(part: ContactorPart) -> Iterator[Contradiction]:
    """At the full voltage nothing far slower is permitted than the breaking test had there.

    The shorter of both counts there, so that a slip in the test would turn a good part down.
    """
    test, permitted, full = (part.break_time_constant, part.permitted_time_constant,
                             part.rated_voltage_dc)
    if test is None or permitted is None or full is None:
        return
    for voltage, constant in zip(permitted.first, permitted.second, strict=True):
        if voltage >= full.number * (1.0 - 1e-9) and constant > MOST_SLOWER * test.number:
            yield ("break_time_constant", f"{test.shown} of the breaking test is less than a tenth "
                   f"of what permitted_time_constant says at {show(voltage, 'V')}, "
                   f"{show(constant, 'ms')}", "check both columns for a lost thousand")
            return


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

"""Pre-charge and discharge of the bus against time, each as a band from part tolerances.

The band lies between the fast corner (both parts at their lower tolerance) and the slow
one (both at the upper). A reading at one time constant is therefore expected in a band,
not at 63 %. Loads that wake on the bus are counted in the slow corner.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from packcalc import transients as tr
from packcalc.charging import OPEN_WAKING, LoadedBus
from packcalc.duties import precharge_asked
from packcalc.findings import Finding, leaf, trace
from packcalc.protect.precharge import PrechargeAsked
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import number, words
from packcalc.report.document import Column, Figure, Table
from packcalc.report.drawings.circuit import (
    duty_of, item_of, plainly, reference_resistance, resistor_tolerance,
)
from packcalc.report.drawings.svg import (
    CHAIN,
    DASHED,
    DOTTED,
    WIDTH,
    Canvas,
    Point,
    text_width,
    ticks,
    wrap,
)
from packcalc.units import show, significant
from packcalc.value import replace, value_object

KEY = "precharge_traces"
LEFT, RIGHT = 40.0, WIDTH - 12.0
PLOT = 190.0
POINTS = 121
NEARLY = 1e-5  # the steady voltage counts as reached this near
DANGEROUS = 60.0
SHOWN_STEPS = (0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0)

Curve = Callable[[np.ndarray], np.ndarray]


@value_object
class Corner:
    """One corner of the tolerances: its resistance, capacitance and curve."""

    resistance: float
    capacitance: float
    curve: Curve

    @property
    def time_constant(self) -> float:
        return self.resistance * self.capacitance


@value_object
class Traces:
    """One panel: three corners, and the levels and times that are marked.

    Attributes:
        title: over the panel.
        fast, nominal, slow: corners.
        unit: of the vertical axis.
        top: of the vertical axis.
        level: horizontal mark, words and value; None where there is none.
        times: vertical marks, words and value.
        span: seconds drawn.
    """

    title: str
    fast: Corner
    nominal: Corner
    slow: Corner
    unit: str
    top: float
    level: tuple[str, float] | None
    times: tuple[tuple[str, float], ...]
    span: float

    @property
    def expected(self) -> tuple[float, float]:
        """Lowest and highest reading at one nominal time constant, on the vertical axis."""
        at = np.array([self.nominal.time_constant])
        return tuple(sorted((float(self.fast.curve(at)[0]), float(self.slow.curve(at)[0]))))


def precharge_traces_figure(study: ProtectionStudy) -> Figure | None:
    """Bus voltage while it is pre-charged and discharged; None where nothing can be sized."""
    charging, discharging = charging_traces(study), discharging_traces(study)
    panels = [panel for panel in (charging, discharging) if panel is not None]
    if not panels:
        return None
    text = _sentence(study, charging, discharging)
    caption = "Pre-charge and discharge of the bus, with the band of part tolerances"
    return Figure(KEY, caption, _draw(panels, caption, text), text, _table(panels))


# --- the curves -------------------------------------------------------------------------

def charging_traces(study: ProtectionStudy) -> Traces | None:
    """Pre-charge in per cent of the battery's voltage."""
    ohms = reference_resistance(study)
    if ohms is None:
        return None
    asked = asked_of(study)
    a, b = asked.resistor_tolerance.number, asked.capacitance_tolerance.number
    farad = asked.capacitance.number
    corners = [_charging(ohms * (1 + s * a), farad * (1 + s * b)) for s in (-1, 0, 1)]
    corners[2] = Corner(corners[2].resistance, corners[2].capacitance,
                        _loaded_curve(study, corners[2]))
    times = (("time limit", asked.time_limit.number), ("timeout", asked.timeout.number))
    span = max(1.04 * max(t for _, t in times), 3.2 * corners[2].time_constant)
    return Traces(f"pre-charge through {significant(ohms, 2)} Ω ± "
                  f"{plainly(asked.resistor_tolerance)}",
                  *corners, "%", 100.0,
                  (f"level {plainly(asked.level)}", 100 * asked.level.number), times, span)


def _charging(resistance: float, capacitance: float) -> Corner:
    return Corner(resistance, capacitance, lambda t: np.asarray(
        tr.charged_voltage(100.0, resistance, capacitance, t)))


def _loaded_curve(study: ProtectionStudy, corner: Corner) -> Curve:
    """The slow corner with the loads that wake, at the battery voltage at which it is slower."""
    if not asked_of(study).known_loads:
        return corner.curve
    buses = [_bus(study, corner, volts) for volts in
             (study.pack.rest_low_voltage, study.pack.highest_voltage)]
    reached = [bus.time for bus in buses]
    slower = max(range(2), key=lambda i: np.inf if reached[i] is None else reached[i].number)
    times, volts = stages_of(buses[slower])
    share = 100 * volts / buses[slower].voltage.number
    return lambda t: np.interp(t, times, share)


def asked_of(study: ProtectionStudy) -> PrechargeAsked:
    """The study's own pre-charge, with the tolerance of the resistor that the brief names."""
    return replace(precharge_asked(study.brief, study.pack),
                   resistor_tolerance=resistor_tolerance(study))


def _bus(study: ProtectionStudy, corner: Corner, voltage: Finding) -> LoadedBus:
    asked = asked_of(study)
    nominal = leaf("pre-charge resistance", "R", "Ω",
                   corner.resistance / (1 + asked.resistor_tolerance.number), "computed",
                   source="packcalc-rule")
    return LoadedBus(
        voltage, trace(tr.largest_resistance, resistance=nominal,
                       tolerance=asked.resistor_tolerance),
        trace(tr.largest_capacitance, capacitance=asked.capacitance,
              tolerance=asked.capacitance_tolerance),
        asked.level, asked.known_loads)


def stages_of(bus: LoadedBus) -> tuple[np.ndarray, np.ndarray]:
    """Times and voltages of a loaded bus, stage by stage up to its steady voltage.

    Where the loads hold the bus, the last voltage stays: that is the picture of a bus that
    hangs.
    """
    whole = bus.voltage.number
    marks = [0.0, *(w.number for w in (load.wakes_at for load in bus.loads)
                    if 0 < w.number < whole), whole]
    times, volts = [0.0], [0.0]
    for start, end in zip(marks, marks[1:], strict=False):
        source, resistance = bus.source(start)
        power = bus.power(start).number
        levels = _levels(start, end, float(tr.bus_voltage_with_power(
            source.number, resistance.number, power)))
        taken = np.asarray(tr.loaded_charging_time(
            source.number, resistance.number, bus.capacitance.number, power, start, levels))
        good = np.isfinite(taken)
        times += list(times[-1] + taken[good])
        volts += list(levels[good])
        if not good.all() or levels[-1] < end:
            break
    return np.array(times), np.array(volts)


def _levels(start: float, end: float, steady: float) -> np.ndarray:
    """Voltages of one stage, close together where the bus creeps towards its steady voltage."""
    if not steady > start:
        return np.array([end])
    last = min(end, steady - NEARLY * (steady - start))
    exponent = np.linspace(0.0, np.log((steady - start) / (steady - last)), POINTS)[1:]
    found = steady - (steady - start) * np.exp(-exponent)
    found[-1] = last
    return found


def discharging_traces(study: ProtectionStudy) -> Traces | None:
    """Discharge from the highest working voltage; None at or below the dangerous border."""
    highest = study.pack.highest_voltage.number
    given = getattr(study.brief.inverter, "discharge_resistance", None)
    known = given is not None and given.known
    asked = given if known else duty_of(item_of(study, "precharge"), "Largest bleed resistance")
    if asked is None or highest <= DANGEROUS:
        return None
    # the largest that is asked for is an upper bound: it has no tolerance above itself
    a = study.brief.inverter.discharge_tolerance.number if known else 0.0
    b = study.brief.inverter.dc_link_tolerance.number
    farad = asked_of(study).capacitance.number
    corners = [_discharging(highest, asked.number * (1 + s * a), farad * (1 + s * b))
               for s in (-1, 0, 1)]
    slow = float(tr.discharge_time(corners[2].resistance, corners[2].capacitance, highest,
                                   DANGEROUS))
    words = (f"± {plainly(study.brief.inverter.discharge_tolerance)}, given" if known
             else ", largest asked for")
    return Traces(f"discharge through {plainly(asked)} {words}".replace(" ,", ","), *corners, "V",
                  1.04 * highest, (f"{DANGEROUS:g} V", DANGEROUS),
                  (("slow corner at 60 V", slow),), 1.3 * slow)


def _discharging(voltage: float, resistance: float, capacitance: float) -> Corner:
    return Corner(resistance, capacitance,
                  lambda t: voltage * np.exp(-t / (resistance * capacitance)))


# --- the picture ------------------------------------------------------------------------

@value_object
class _Frame:
    panel: Traces
    top: float

    def at(self, time: float, value: float) -> Point:
        x = LEFT + time / self.panel.span * (RIGHT - LEFT)
        return x, self.top + PLOT * (1 - value / (1.04 * self.panel.top))

    def curve(self, corner: Corner) -> list[Point]:
        times = np.linspace(0.0, self.panel.span, POINTS)
        return [self.at(t, v) for t, v in zip(times, corner.curve(times), strict=True)]


def _draw(panels: list[Traces], caption: str, text: str) -> str:
    canvas = Canvas(KEY)
    hatch = canvas.hatch("band", 4)
    y = 0.0
    for panel in panels:
        y = _panel(canvas, panel, y, hatch)
    canvas.rect((8, y + 2), (22, 10), fill=hatch, weight=0.7)
    canvas.text((36, y + 11), "between fast and slow corner")
    canvas.line(((8, y + 25), (30, y + 25)), weight=1.8)
    canvas.text((36, y + 29), "nominal parts")
    return canvas.finish(y + 38, caption, text)


def _panel(canvas: Canvas, panel: Traces, y: float, hatch: str) -> float:
    """One panel from its heading down to its axis; returns where the next may begin."""
    heading = wrap(panel.title, WIDTH - 16, most=2)
    canvas.lines((8, y + 14), heading)
    low, high = panel.expected
    expected = (f"one time constant, {show(panel.nominal.time_constant, 's', 3)}: "
                f"{low:.0f} to {high:.0f} {panel.unit}")
    canvas.text((8, y + 14 + 14 * len(heading)), expected)
    frame = _Frame(panel, y + 66 + 14 * (len(heading) - 1))
    _axes(canvas, frame)
    fast, slow = frame.curve(panel.fast), frame.curve(panel.slow)
    outline = "M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in [*fast, *reversed(slow)]) + "Z"
    canvas.path(outline, weight=0.7, fill=hatch)
    canvas.line(frame.curve(panel.nominal), weight=1.8)
    _marks(canvas, frame)
    _expected(canvas, frame)
    return frame.top + PLOT + 44


def _axes(canvas: Canvas, frame: _Frame) -> None:
    panel, bottom = frame.panel, frame.top + PLOT
    canvas.line(((LEFT, frame.top), (LEFT, bottom), (RIGHT, bottom)), weight=0.9)
    for value in ticks(0.0, panel.top):
        x, at = frame.at(0.0, value)
        canvas.line(((x - 4, at), (x, at)), weight=0.9)
        canvas.text((x - 6, at + 4), f"{value:g}", anchor="end", size=11)
    canvas.text((LEFT - 6, frame.top - 8), panel.unit, anchor="end", size=11)
    for time in ticks(0.0, panel.span, 6):
        x, at = frame.at(time, 0.0)
        if x > RIGHT - 16:
            continue
        canvas.line(((x, at), (x, at + 4)), weight=0.9)
        canvas.text((x, at + 16), f"{time:g}", anchor="middle", size=11)
    canvas.text((RIGHT, bottom + 16), "s", anchor="end", size=11)


def _marks(canvas: Canvas, frame: _Frame) -> None:
    """Level across, times downwards; their words stand outside the curves."""
    panel = frame.panel
    if panel.level is not None:
        words, value = panel.level
        (x, at), (end, _) = frame.at(0.0, value), frame.at(panel.span, value)
        canvas.line(((x, at), (end, at)), dash=DASHED)
        rising = panel.unit == "%"
        canvas.text((_clear_end(frame, words, value), at + (15 if rising else -5)), words,
                    anchor="end")
    for index, (words, value) in enumerate(panel.times):
        x, bottom = frame.at(value, 0.0)
        canvas.line(((x, frame.top - 2), (x, bottom)), dash=(DOTTED, CHAIN)[index % 2])
        room = x > WIDTH / 2
        lift = -6.0 if index % 2 else -21.0
        if len(panel.times) == 1:
            lift = -6.0
        canvas.text((x + (3 if room else -3), frame.top + lift),
                    f"{words} {show(value, 's', 3)}", anchor="end" if room else "start")


def _clear_end(frame: _Frame, words: str, value: float) -> float:
    """Where the words of a level end: as far right as no line downwards and no curve is met."""
    panel, width = frame.panel, text_width(words)
    times = np.linspace(0.0, panel.span, POINTS)
    curve = panel.slow.curve(times)
    there = np.flatnonzero(curve >= value if panel.unit == "%" else curve <= value)
    first = frame.at(times[there[0]], value)[0] if there.size else LEFT
    right = frame.at(panel.span, value)[0] - 4
    lines = [frame.at(time, 0.0)[0] for _, time in panel.times]
    for end in sorted((right, *(x - 2 for x in lines)), reverse=True):
        if end - width >= first and not any(end - width < x < end + 1 for x in lines):
            return end
    return right


def _expected(canvas: Canvas, frame: _Frame) -> None:
    """The band at one nominal time constant: what a reading may be."""
    panel = frame.panel
    low, high = panel.expected
    (x, at), (_, to) = (frame.at(panel.nominal.time_constant, v) for v in (low, high))
    canvas.line(((x, at), (x, to)), weight=3.0)
    for y in (at, to):
        canvas.line(((x - 5, y), (x + 5, y)), weight=1.6)


# --- words and data ---------------------------------------------------------------------

def _sentence(study: ProtectionStudy, charging: Traces | None,
              discharging: Traces | None) -> str:
    said = []
    if charging is not None:
        low, high = charging.expected
        asked = asked_of(study)
        said.append(
            f"{_begin(charging.title)} onto {plainly(asked.capacitance)} ± "
            f"{plainly(asked.capacitance_tolerance)}: at one nominal time constant, "
            f"{show(charging.nominal.time_constant, 's', 3)}, the bus stands between {low:.0f} % "
            f"and {high:.0f} % of the battery's voltage (63 % only with parts exactly at their "
            f"nominal values). Level {plainly(asked.level)}, time limit "
            f"{plainly(asked.time_limit)}, timeout {plainly(asked.timeout)}. "
            + _slow_words(charging, study))
    if discharging is not None:
        low, high = discharging.expected
        (_, slow), = discharging.times
        said.append(
            f"{_begin(discharging.title)}, from {study.pack.highest_voltage.shown}: at one "
            f"nominal time constant, {show(discharging.nominal.time_constant, 's', 3)}, between "
            f"{low:.0f} V and {high:.0f} V; the slow corner passes {DANGEROUS:g} V after "
            f"{show(slow, 's')}. The band is that of "
            + ("resistor and capacitance." if "±" in discharging.title else
               "the capacitance; the resistor counts as printed."))
    said.append("The capacitance's lower tolerance is taken as large as the upper. For review.")
    return " ".join(said)


def _begin(words: str) -> str:
    """Words as the beginning of a sentence, units untouched."""
    return words[:1].upper() + words[1:]


def _slow_words(charging: Traces, study: ProtectionStudy) -> str:
    level = 100 * study.brief.precharge.level.number
    times = np.linspace(0.0, charging.span, 4001)
    reached = np.flatnonzero(charging.slow.curve(times) >= level)
    asked = asked_of(study)
    loads = [load.name + f" ({OPEN_WAKING})" * load.supposed for load in asked.known_loads]
    with_loads = f" with {', '.join(loads)} awake from their waking voltage" if loads else ""
    with_loads += f" ({asked.untold})" if asked.untold else ""
    if not len(reached):
        return f"The slow corner{with_loads} does not reach the level in the time drawn."
    return (f"The slow corner{with_loads} reaches the level after about "
            f"{show(float(times[reached[0]]), 's', 3)}.")


def _table(panels: list[Traces]) -> Table:
    columns = (Column("trace", "Trace"), Column("time_s", "Time [s]", "right"),
               Column("fast", "Fast corner", "right"), Column("nominal", "Nominal", "right"),
               Column("slow", "Slow corner", "right"), Column("unit", "Unit"))
    rows = []
    for panel in panels:
        for step in SHOWN_STEPS:
            time = np.array([step * panel.nominal.time_constant])
            rows.append((words(panel.title), number(float(time[0]), "s"),
                         *(number(float(c.curve(time)[0]), "")
                           for c in (panel.fast, panel.nominal, panel.slow)),
                         words("% of battery voltage" if panel.unit == "%" else "V")))
    return Table(f"{KEY}_data", "Bus voltage at multiples of the nominal time constant", columns,
                 tuple(rows))

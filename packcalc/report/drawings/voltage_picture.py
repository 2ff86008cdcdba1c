"""The voltage picture: the pack's voltages held against the windows of inverter and charger.

One vertical scale. The pack's levels are named on the left, the limits of inverter and
charger on the right; labels are pushed apart, and a fine line leads each to its place.
"""

from __future__ import annotations

from packcalc.findings import Finding
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import number, words
from packcalc.report.document import Column, Figure, Table
from packcalc.report.drawings.svg import (
    CHAIN,
    DASHED,
    DOTTED,
    LEADING,
    WIDTH,
    Canvas,
    spread,
    ticks,
    wrap,
)
from packcalc.value import value_object

KEY = "voltage_picture"
TOP, BOTTOM_MARGIN, LEAST_HEIGHT = 44.0, 76.0, 300.0
COLUMN_WIDTH = 18.0
COLUMNS = {"pack": 142.0, "inverter": 169.0, "charger": 196.0}
LEFT_EDGE, RIGHT_EDGE = 134.0, 220.0
SCALE = 24.0
GAP = 4.0


@value_object
class Level:
    """One voltage of the picture.

    Attributes:
        key: stable name.
        whose: one of COLUMNS.
        words: as printed beside it.
        finding: the voltage; may lack a value.
    """

    key: str
    whose: str
    words: str
    finding: Finding

    @property
    def lines(self) -> tuple[str, ...]:
        room = LEFT_EDGE - SCALE - 13 if self.whose == "pack" else WIDTH - RIGHT_EDGE - 8
        return (*wrap(self.told, room, most=3 if self.finding.at_least else 2), self.finding.shown)

    @property
    def told(self) -> str:
        """Its words; of a voltage of which parts are not evaluated, that it is the least."""
        return f"{self.words}, at least" if self.finding.at_least else self.words


def levels(study: ProtectionStudy) -> tuple[Level, ...]:
    """Every voltage of the picture, known or not, lowest name first."""
    pack, inverter, charger = study.pack, study.brief.inverter, study.brief.charger
    return (
        Level("pack_loaded", "pack", "cold, nearly empty, loaded", pack.loaded_voltage),
        Level("pack_empty", "pack", "empty, at rest", pack.empty_voltage),
        Level("pack_low", "pack", "at rest, lowest charge in use", pack.rest_low_voltage),
        Level("pack_nominal", "pack", "mean over the charge window", pack.nominal_voltage),
        Level("pack_full", "pack", "full, with tolerance", pack.full_voltage),
        Level("pack_highest", "pack", "highest working voltage", pack.highest_voltage),
        Level("inverter_low", "inverter", "inverter: lowest", inverter.voltage_low),
        Level("inverter_full_power", "inverter", "inverter: full power from",
              pack.demand_voltage),
        Level("inverter_high", "inverter", "inverter: highest", inverter.voltage_high),
        Level("inverter_absolute", "inverter", "inverter: absolute maximum",
              inverter.absolute_maximum),
        Level("charger_low", "charger", "charger: lowest", charger.voltage_low),
        Level("charger_high", "charger", "charger: highest", charger.voltage_high),
    )


@value_object
class _Scale:
    low: float
    high: float
    height: float

    def y(self, voltage: float) -> float:
        share = (self.high - voltage) / (self.high - self.low)
        return TOP + share * self.height


def voltage_picture_figure(study: ProtectionStudy) -> Figure:
    """The pack's voltages against the windows of inverter and charger."""
    every = levels(study)
    known = [level for level in every if level.finding.known]
    values = [level.finding.number for level in known]
    margin = 0.06 * (max(values) - min(values)) or 1.0
    sides = [[lv for lv in known if (lv.whose == "pack") is left] for left in (True, False)]
    room = max(sum(_height(lv) for lv in side) for side in sides)
    scale = _Scale(min(values) - margin, max(values) + margin, max(LEAST_HEIGHT, room + 10))
    text = _sentence(every)
    return Figure(KEY, "Voltages of the pack against inverter and charger",
                  _draw(scale, known, text), text, _table(every))


def _height(level: Level) -> float:
    return len(level.lines) * LEADING + GAP


def _draw(scale: _Scale, known: list[Level], text: str) -> str:
    canvas = Canvas(KEY)
    for volts in ticks(scale.low, scale.high):
        y = scale.y(volts)
        canvas.line(((SCALE, y), (SCALE + 5, y)), weight=0.8)
        canvas.text((SCALE - 3, y + 4), f"{volts:g}", anchor="end", size=11)
    canvas.line(((SCALE, TOP), (SCALE, TOP + scale.height)), weight=0.8)
    canvas.text((4, TOP - 12), "V")
    _bars(canvas, scale, {level.key: level.finding.number for level in known})
    for name, x in COLUMNS.items():
        lift = {"pack": 12.0, "inverter": 26.0, "charger": 12.0}[name]
        anchor, share = {"pack": ("end", 1.0), "inverter": ("middle", 0.5),
                         "charger": ("start", 0.0)}[name]
        at = x + share * COLUMN_WIDTH
        canvas.text((at, TOP - lift), name, anchor=anchor, bold=True)
    for left in (True, False):
        _labels(canvas, scale, [lv for lv in known if (lv.whose == "pack") is left])
    bottom = TOP + scale.height
    _legend(canvas, bottom + 16)
    return canvas.finish(bottom + BOTTOM_MARGIN,
                         "Voltages of the pack against inverter and charger", text)


def _bars(canvas: Canvas, scale: _Scale, at: dict[str, float]) -> None:
    sag = canvas.hatch("loaded", 5)
    over = canvas.hatch("over", 4, crossed=True)
    partial = canvas.hatch("partial", 5, rising=False)
    _bar(canvas, scale, "pack", (at["pack_empty"], at["pack_low"]), "#fff", dash=DOTTED)
    _bar(canvas, scale, "pack", (at["pack_low"], at["pack_full"]), "#fff")
    if "pack_loaded" in at:
        _bar(canvas, scale, "pack", (at["pack_loaded"], at["pack_low"]), sag, share=0.5)
    _bar(canvas, scale, "pack", (at["pack_full"], at["pack_highest"]), over)
    _bar(canvas, scale, "inverter", (at["inverter_low"], at["inverter_full_power"]), partial)
    _bar(canvas, scale, "inverter", (at["inverter_full_power"], at["inverter_high"]), "#fff")
    if "inverter_absolute" in at:
        _bar(canvas, scale, "inverter", (at["inverter_high"], at["inverter_absolute"]), over)
    if "charger_low" in at and "charger_high" in at:
        _bar(canvas, scale, "charger", (at["charger_low"], at["charger_high"]), "#fff",
             dash=DOTTED)
    for key, dash in (("pack_nominal", CHAIN), ("pack_highest", DASHED)):
        y, x = scale.y(at[key]), COLUMNS["pack"]
        end = x + COLUMN_WIDTH if key == "pack_nominal" else RIGHT_EDGE - 10
        canvas.line(((x, y), (end, y)), weight=1.6, dash=dash)


def _bar(canvas: Canvas, scale: _Scale, whose: str, span: tuple[float, float], fill: str,
         *, dash: str = "", share: float = 1.0) -> None:
    """A piece of a column; a share of the width for what stands inside another piece."""
    top, bottom = scale.y(max(span)), scale.y(min(span))
    if bottom - top > 0.05:
        canvas.rect((COLUMNS[whose], top), (share * COLUMN_WIDTH, bottom - top), fill=fill,
                    dash=dash)


def _labels(canvas: Canvas, scale: _Scale, side: list[Level]) -> None:
    """Labels of one side, pushed apart, each with a fine line to its place."""
    side = sorted(reversed(side), key=lambda level: -level.finding.number)
    if not side:
        return
    tallest = max(_height(level) for level in side)
    fits = tallest * (len(side) - 1) <= scale.height - tallest
    step = tallest if fits else (scale.height - tallest) / max(len(side) - 1, 1)
    middles = spread([scale.y(level.finding.number) for level in side], step,
                     TOP + tallest / 2 - 6, TOP + scale.height - tallest / 2 + 6)
    for level, middle in zip(side, middles, strict=True):
        _label(canvas, level, middle, scale.y(level.finding.number))


def _label(canvas: Canvas, level: Level, middle: float, y: float) -> None:
    left = level.whose == "pack"
    edge, out = (LEFT_EDGE, -1) if left else (RIGHT_EDGE, 1)
    bar = COLUMNS[level.whose] + (0 if left else COLUMN_WIDTH)
    canvas.line(((edge + out * 4, middle), (edge, middle), (edge - out * 7, y), (bar, y)),
                weight=0.7)
    first = middle - (len(level.lines) - 1) * LEADING / 2 + 4
    canvas.lines((edge + out * 7, first), level.lines, anchor="end" if left else "start")


def _legend(canvas: Canvas, y: float) -> None:
    rows = (("sag under load; inverter without full power", ("loaded", "partial")),
            ("above the range in use, within the limit", ("over",)),
            ("highest working voltage, through all columns", ()))
    for index, (meaning, fills) in enumerate(rows):
        at = y + index * 18
        for place, name in enumerate(fills):
            canvas.rect((6 + place * 19, at), (15, 10), fill=f"url(#{KEY}-{name})")
        if not fills:
            canvas.line(((6, at + 5), (40, at + 5)), weight=1.6, dash=DASHED)
        canvas.text((46, at + 9), meaning)


def _sentence(every: tuple[Level, ...]) -> str:
    """The picture in words, with what it lacks."""
    shown = {level.key: f"{'at least ' if level.finding.at_least else ''}{level.finding.shown}"
             for level in every}
    lacking = [level.words for level in every if not level.finding.known]
    parts = [
        f"Pack: {shown['pack_loaded']} cold, nearly empty and loaded; {shown['pack_empty']} empty "
        f"at rest; {shown['pack_low']} at rest at the lowest charge in use; "
        f"{shown['pack_nominal']} as the mean over the charge window; "
        f"{shown['pack_full']} full with the charger's tolerance; {shown['pack_highest']} highest "
        "working voltage.",
        f"Inverter: works from {shown['inverter_low']} to {shown['inverter_high']}, full power "
        f"counted from {shown['inverter_full_power']}, absolute maximum "
        f"{shown['inverter_absolute']}.",
        f"Charger: {shown['charger_low']} to {shown['charger_high']}."
        if "–" not in (shown["charger_low"], shown["charger_high"]) else "",
        f"Not known, so not drawn: {', '.join(lacking)}." if lacking else "",
        "The scale does not begin at 0 V. Candidates for review.",
    ]
    return " ".join(part for part in parts if part)


def _table(every: tuple[Level, ...]) -> Table:
    columns = (Column("whose", "Of"), Column("level", "Level", wide=True),
               Column("voltage_V", "Voltage [V]", "right"), Column("basis", "Weakest basis"))
    rows = tuple((words(level.whose), words(level.told), number(level.finding.value, "V"),
                  words(level.finding.weakest if level.finding.known else "not known"))
                 for level in every)
    return Table(f"{KEY}_data", "Voltages drawn", columns, rows)

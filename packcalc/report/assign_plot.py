"""A plain plot of the assignment: each row's capacity and resistance about their means."""

from __future__ import annotations

from html import escape

from packcalc.bench.assign import AssignmentStudy
from packcalc.report.blocks import column, number, words
from packcalc.report.document import Figure, Table
from packcalc.units import several, significant

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 580, 300, 64, 16, 24, 56
LEAST, MOST = 34, 45  # rem: on a phone it is scrolled, its text no smaller than that of a page


def groups_figure(study: AssignmentStudy) -> Figure:
    """Deviation of each group (or string) from the mean: capacity solid, resistance dashed."""
    row = "string" if study.assignment.arrangement == "strings" else "group"
    what = "weakest module" if row == "string" else "capacity"
    capacity = _deviations([f.number for f in study.totals.groups])
    resistance = _deviations([f.number for f in study.totals.resistances])
    table = Table("rows_plot", f"Deviation of each {row} from the mean of all",
                  (column(row, row.capitalize()),
                   column("capacity_percent", what.capitalize(), "%"),
                   column("resistance_percent", "Resistance", "%")),
                  tuple((words(str(i + 1)), number(q / 100, "%", 3), number(r / 100, "%", 3))
                        for i, (q, r) in enumerate(zip(capacity, resistance, strict=True))))
    text = (f"{what.capitalize()} of {several(len(capacity), row)} between "
            f"{significant(min(capacity), 3)} % and {significant(max(capacity), 3)} % of their "
            f"mean, resistance between {significant(min(resistance), 3)} % and "
            f"{significant(max(resistance), 3)} %.")
    return Figure("rows_plot", f"Each {row} against the mean of all: {what} (solid, round marks) "
                  f"and resistance (dashed, square marks)", _svg(capacity, resistance, row, text),
                  text, table, wide=True)


def _deviations(values: list[float]) -> list[float]:
    mean = sum(values) / len(values)
    return [100.0 * (v / mean - 1.0) for v in values]


def _svg(capacity: list[float], resistance: list[float], row: str, text: str) -> str:
    most = max(0.1, *(abs(v) for v in (*capacity, *resistance))) * 1.1
    count = len(capacity)

    def x(i: int) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (i + 0.5) / count

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (0.5 - value / (2.0 * most))

    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
             f'style="width:100%;min-width:{LEAST}rem;max-width:{MOST}rem;height:auto" '
             f'aria-label="{escape(text)}" font-family="sans-serif" font-size="12" '
             f'fill="none" stroke="currentColor">']
    for tick in (-most / 1.1, 0.0, most / 1.1):
        dash = "" if tick == 0 else ' stroke-dasharray="1 4"'
        parts.append(f'<line x1="{LEFT}" y1="{y(tick):.1f}" x2="{WIDTH - RIGHT}" '
                     f'y2="{y(tick):.1f}" stroke-width="1"{dash}/>')
        parts.append(_label(LEFT - 6, y(tick) + 4, f"{significant(tick, 2)} %", "end"))
    for values, dash, mark in ((capacity, "", _round), (resistance, "6 4", _square)):
        points = " ".join(f"{x(i):.1f},{y(v):.1f}" for i, v in enumerate(values))
        style = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(f'<polyline points="{points}" stroke-width="1.5"{style}/>')
        if count <= 60:
            parts += [mark(x(i), y(v)) for i, v in enumerate(values)]
    step = max(1, -(-count // 24))
    parts += [_label(x(i), HEIGHT - BOTTOM + 18, str(i + 1), "middle")
              for i in range(0, count, step)]
    parts.append(_label((LEFT + WIDTH - RIGHT) / 2, HEIGHT - BOTTOM + 38,
                        f"{row}; solid with round marks: capacity, dashed with square marks: "
                        f"resistance", "middle"))
    return "".join(parts) + "</svg>"


def _label(x: float, y: float, text: str, anchor: str) -> str:
    return (f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="currentColor" '
            f'stroke="none">{escape(text)}</text>')


def _round(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="currentColor"/>'


def _square(x: float, y: float) -> str:
    return f'<rect x="{x - 3:.1f}" y="{y - 3:.1f}" width="6" height="6"/>'

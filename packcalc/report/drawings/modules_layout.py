"""The modules in a schematic box: the series path, polarity, links and places.

One function, `terminal`, says where a terminal is; boxes, signs, links and bars all take
their ends from it, so that a picture cannot join other terminals than it says. Modules are
counted from the negative end; a row that is full is followed by one that runs back.
The box is a schema, not the place of a module in the vehicle.
"""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import whole, words
from packcalc.report.document import Column, Figure, Table
from packcalc.report.drawings.circuit import MINUS, PLUS, Circuit, circuit_of
from packcalc.report.drawings.svg import DASHED, WIDTH, Canvas, Point, clip, text_width, wrap
from packcalc.value import value_object

KEY = "modules_layout"
GROUPED, STRINGS = "grouped", "strings"
MARGIN, GAP, ROW_GAP = 24.0, 16.0, 24.0
BAR, TURN = 4.5, 11.0  # how far a group's bar and a row's turn stand off the terminals
LEAST_BOX, MOST_BOX = 44.0, 78.0
LOW_BOX, MANY = 17.0, 60  # a pack of more modules is drawn lower
HEAD, STRING_HEAD = 26.0, 26.0
Marks = Sequence[Sequence[str]]


@value_object
class Grid:
    """Where every module stands.

    Attributes:
        series, parallel, arrangement: of the layout.
        columns: modules (or groups) in one row.
        box: width and height of a module.
        top: of the first row.
    """

    series: int
    parallel: int
    arrangement: str
    columns: int
    box: tuple[float, float]
    top: float

    @property
    def stacked(self) -> int:
        """Modules one above the other at each step: the group, or one of a string."""
        return self.parallel if self.arrangement == GROUPED else 1

    @property
    def rows(self) -> int:
        """Rows of one string, or of all groups."""
        return -(-self.series // self.columns)

    @property
    def row_height(self) -> float:
        return self.stacked * self.box[1] + ROW_GAP

    @property
    def string_height(self) -> float:
        return self.rows * self.row_height + STRING_HEAD

    @property
    def bottom(self) -> float:
        if self.arrangement == GROUPED:
            return self.top + self.rows * self.row_height
        return self.top + self.parallel * self.string_height

    def runs_back(self, step: int) -> bool:
        """Whether the row of a step runs from right to left."""
        return (step // self.columns) % 2 == 1

    def corner(self, step: int, lane: int) -> Point:
        """Upper left corner of a module: `step` in series, `lane` side by side, from 0."""
        row, place = divmod(step, self.columns)
        column = self.columns - 1 - place if row % 2 else place
        x = MARGIN + column * (self.box[0] + GAP)
        if self.arrangement == GROUPED:
            return x, self.top + row * self.row_height + lane * self.box[1]
        return x, self.top + lane * self.string_height + STRING_HEAD + row * self.row_height

    def name(self, step: int, lane: int) -> str:
        """Group and module in it, or string and module in it, from 1."""
        if self.parallel == 1:
            return f"{step + 1}"
        if self.arrangement == GROUPED:
            return f"{step + 1}.{lane + 1}"
        return f"{lane + 1}.{step + 1}"


def terminal(grid: Grid, step: int, lane: int, pole: str) -> Point:
    """Where a terminal is: minus on the side where the path comes in, plus where it leaves."""
    x, y = grid.corner(step, lane)
    on_the_right = (pole == PLUS) != grid.runs_back(step)
    return x + (grid.box[0] if on_the_right else 0.0), y + grid.box[1] / 2


@value_object
class Link:
    """One connection: what it is, the two terminals as (step, lane, pole), its course."""

    kind: str
    start: tuple[int, int, str]
    end: tuple[int, int, str]
    points: tuple[Point, ...]


def links(grid: Grid) -> tuple[Link, ...]:
    """Every link and bar of a layout.

    A link joins the plus of a step to the minus of the next; a bar joins equal poles of a
    group. Strings have no bars: they join only behind their own fuses.
    """
    lanes = range(1) if grid.arrangement == GROUPED else range(grid.parallel)
    found = [_link(grid, step, lane) for lane in lanes for step in range(grid.series - 1)]
    if grid.arrangement == GROUPED:
        found += [_bar(grid, step, lane, pole) for step in range(grid.series)
                  for lane in range(grid.parallel - 1) for pole in (MINUS, PLUS)]
    return tuple(found)


def _link(grid: Grid, step: int, lane: int) -> Link:
    start, end = (step, lane, PLUS), (step + 1, lane, MINUS)
    a, b = terminal(grid, *start), terminal(grid, *end)
    if abs(a[1] - b[1]) < 1e-6:
        return Link("link", start, end, (a, b))
    out = a[0] + (TURN if not grid.runs_back(step) else -TURN)
    return Link("link", start, end, (a, (out, a[1]), (out, b[1]), b))


def _bar(grid: Grid, step: int, lane: int, pole: str) -> Link:
    start, end = (step, lane, pole), (step, lane + 1, pole)
    a, b = terminal(grid, *start), terminal(grid, *end)
    outwards = a[0] > grid.corner(step, lane)[0] + grid.box[0] / 2
    x = a[0] + (BAR if outwards else -BAR)
    return Link("bar", start, end, (a, (x, a[1]), (x, b[1]), b))


def modules_layout_figure(study: ProtectionStudy, marks: Marks = ()) -> Figure:
    """The modules of a study in a schematic box.

    Args:
        study: with its layout.
        marks: of the modules, one row a group or a string, as a bench assignment deals them;
            empty where nothing is assigned.
    """
    circuit = circuit_of(study)
    grid = grid_of(study, marks)
    text = _sentence(study, grid, circuit, bool(marks))
    caption = f"Modules of {study.layout.label}: series path and polarity"
    return Figure(KEY, caption, _draw(study, grid, circuit, marks, text), text,
                  _table(study, grid, circuit, marks))


def grid_of(study: ProtectionStudy, marks: Marks = ()) -> Grid:
    """As many columns as fit a phone; the box is as wide as its names need."""
    layout = study.layout
    arrangement = layout.arrangement if layout.parallel > 1 else GROUPED
    longest = "8" * len(str(layout.series)) + (
        "." + "8" * len(str(layout.parallel)) if layout.parallel > 1 else "")
    box = max(LEAST_BOX, text_width(longest) + 30,
              min(MOST_BOX, max((text_width(mark) + 8 for row in marks for mark in row),
                                default=0.0)))
    room = WIDTH - 2 * MARGIN + GAP
    most = min(int(room // (box + GAP)), layout.series)
    rows = -(-layout.series // most)
    columns = -(-layout.series // rows)
    box = min(room / columns - GAP, MOST_BOX)
    low = LOW_BOX if layout.series * layout.parallel > MANY else 24.0
    return Grid(layout.series, layout.parallel, arrangement, columns,
                (box, 36.0 if marks else low), HEAD if arrangement == GROUPED else 0.0)


def _draw(study: ProtectionStudy, grid: Grid, circuit: Circuit, marks: Marks, text: str) -> str:
    canvas = Canvas(KEY)
    hatch = canvas.hatch("second") if len(study.layout.parts) > 1 else ""
    for link in links(grid):
        canvas.line(link.points, weight=2.4 if link.kind == "link" else 1.4,
                    **{"kind": link.kind, "from": _end(grid, link.start),
                       "to": _end(grid, link.end)})
    first = study.layout.parts[0].series
    for lane in range(grid.parallel):
        for step in range(grid.series):
            _module(canvas, grid, (step, lane), hatch if step >= first else "", marks)
    _ends(canvas, grid, circuit)
    for lane, parts in enumerate(circuit.inside):
        for after in dict.fromkeys(part.after for part in parts):
            _between(canvas, grid, (after, lane),
                     " ".join(part.tag for part in parts if part.after == after))
    bottom = _legend(canvas, study, grid, hatch)
    return canvas.finish(bottom, f"Modules of {study.layout.label}", text)


def _end(grid: Grid, end: tuple[int, int, str]) -> str:
    step, lane, pole = end
    return f"{grid.name(step, lane)}{pole}"


def _module(canvas: Canvas, grid: Grid, place: tuple[int, int], hatch: str, marks: Marks) -> None:
    step, lane = place
    (x, y), (width, height) = grid.corner(step, lane), grid.box
    canvas.rect((x, y), (width, height))
    if hatch:
        canvas.rect((x + 14, y + height - 6), (width - 28, 6), fill=hatch, weight=0.5)
    for pole in (MINUS, PLUS):
        at = terminal(grid, step, lane, pole)
        canvas.dot(at, 2.2, terminal=f"{grid.name(step, lane)}{pole}")
        inwards = 7.5 if at[0] <= x + 1e-6 else -7.5
        canvas.text((at[0] + inwards, at[1] + 4), pole, anchor="middle")
    mark = _mark(grid, marks, step, lane)
    middle = y + height / 2
    canvas.text((x + width / 2, middle + (4 if not marks else -4)), grid.name(step, lane),
                anchor="middle", bold=bool(marks))
    if mark:
        canvas.text((x + width / 2, middle + 13), clip(mark, width - 6), anchor="middle")


def _mark(grid: Grid, marks: Marks, step: int, lane: int) -> str:
    row, column = (step, lane) if grid.arrangement == GROUPED else (lane, step)
    if row >= len(marks) or column >= len(marks[row]):
        return ""
    return str(marks[row][column])


def _ends(canvas: Canvas, grid: Grid, circuit: Circuit) -> None:
    """The two ends of the pack, or of each string, with the part that follows."""
    for lane in range(grid.parallel if grid.arrangement == STRINGS else 1):
        begin = terminal(grid, 0, lane, MINUS)
        end = terminal(grid, grid.series - 1, lane, PLUS)
        outwards = -1 if grid.runs_back(grid.series - 1) else 1
        canvas.line((begin, (begin[0] - 14, begin[1])), weight=2.4, dash=DASHED)
        canvas.line((end, (end[0] + outwards * 14, end[1])), weight=2.4, dash=DASHED)
        head = grid.corner(0, lane)[1] - 7
        minus, plus = _neighbours(circuit, lane)
        name = f"string {lane + 1}: " if grid.arrangement == STRINGS else ""
        canvas.text((MARGIN - 16, head), f"{name}{MINUS} end to {minus}, {PLUS} end to {plus}")


def _neighbours(circuit: Circuit, lane: int) -> tuple[str, str]:
    """Tags of the parts that the negative and the positive end lead to."""
    if circuit.strings:
        plus, _, minus = circuit.strings[lane]
        return minus.tag, plus.tag
    in_pole = {part.pole: part.tag for part in (*circuit.contactors, *circuit.main_fuses)}
    return in_pole[MINUS], in_pole[PLUS]


def _between(canvas: Canvas, grid: Grid, place: tuple[int, int], tags: str) -> None:
    """A mark across the link after a module, and the tags of what stands in it."""
    after, lane = place
    x, y, standing = _middle_of(grid, after, lane)
    for shift in (-2.0, 2.0):  # two bars: no part's symbol, the tags say what stands there
        canvas.line(((x - 6, y + shift), (x + 6, y + shift)) if standing
                    else ((x + shift, y - 6), (x + shift, y + 6)))
    if standing:
        left = grid.runs_back(after - 1)
        canvas.text((x + (10 if left else -10), y + 4), tags, bold=True,
                    anchor="start" if left else "end")
        return
    # Below the row: the line above it may hold the words of the ends.
    low = grid.corner(after, lane)[1] + grid.stacked * grid.box[1]
    canvas.text((x, low + 12), tags, anchor="middle", bold=True)


def _middle_of(grid: Grid, after: int, lane: int) -> tuple[float, float, bool]:
    """The middle of the link after a module, and whether it runs downwards there."""
    points = _link(grid, after - 1, lane).points
    if len(points) == 2:
        (ax, ay), (bx, _) = points
        return (ax + bx) / 2, ay, False
    lower = grid.corner(after, lane)[1]
    return points[1][0], lower - ROW_GAP / 2, True


def _legend(canvas: Canvas, study: ProtectionStudy, grid: Grid, hatch: str) -> float:
    y = grid.bottom + 6
    said = []
    if grid.parallel > 1:
        last = grid.name(grid.series - 1, grid.parallel - 1)
        first, second = last.split(".")
        said.append(f"{last} is group {first}, module {second} in it."
                    if grid.arrangement == GROUPED else
                    f"{last} is string {first}, module {second} from the negative end.")
    said.append("Schema, not the place in the vehicle; box end to box end: "
                f"{PLUS} to the next {MINUS}.")
    if hatch:
        titles = [study.brief.modules[p.entry].module.title for p in study.layout.parts]
        said.append(f"Hatched foot: {titles[1]}; plain: {titles[0]}.")
    lines = [line for item in said for line in wrap(item, WIDTH - 16, most=3)]
    canvas.lines((8, y + 10), lines)
    return y + 10 + 14 * len(lines)


def _sentence(study: ProtectionStudy, grid: Grid, circuit: Circuit, marked: bool) -> str:
    layout = study.layout
    if grid.parallel == 1:
        how = f"{grid.series} modules in one series path, counted from the negative end"
    elif grid.arrangement == GROUPED:
        how = (f"{grid.series} groups of {grid.parallel} modules side by side; the groups in one "
               "series path, counted from the negative end; in each group equal poles are joined "
               "by bars")
    else:
        how = (f"{grid.parallel} strings of {grid.series} modules; each string is a series path "
               "of its own, counted from the negative end, and joins the others only behind its "
               "own fuse and contactors")
    inside = "".join(f" {p.tag}, {p.name}, stands in the link after "
                     f"{'module' if grid.stacked == 1 else 'group'} {p.after}."
                     for row in circuit.inside for p in row)
    turns = (f" The path turns back after every {grid.columns}."
             if grid.columns < grid.series else "")
    assigned = " Marks are those of the assignment." if marked else " No marks are assigned yet."
    return (f"{layout.label}: {how}. Each link joins the plus of one to the minus of the "
            f"next.{inside}{turns}{assigned} A schema for review, not a building plan.")


def _table(study: ProtectionStudy, grid: Grid, circuit: Circuit, marks: Marks) -> Table:
    """Every module: its place, its type, its mark, and where its plus leads."""
    columns = (Column("module", "Module"), Column("step", "In series", "right"),
               Column("lane", "Side by side", "right"), Column("type", "Type"),
               Column("mark", "Mark"), Column("plus_leads_to", "Its plus leads to"))
    rows = []
    for lane in range(grid.parallel):
        for step in range(grid.series):
            rows.append((words(grid.name(step, lane)), whole(step + 1), whole(lane + 1),
                         words(_type(study, step)), words(_mark(grid, marks, step, lane)),
                         words(_leads_to(grid, circuit, step, lane))))
    return Table(f"{KEY}_places", "Modules and their places, from the negative end", columns,
                 tuple(rows))


def _type(study: ProtectionStudy, step: int) -> str:
    parts, passed = study.layout.parts, 0
    for part in parts:
        passed += part.series
        if step < passed:
            return study.brief.modules[part.entry].module.id
    return ""


def _leads_to(grid: Grid, circuit: Circuit, step: int, lane: int) -> str:
    if step == grid.series - 1:
        return _neighbours(circuit, lane)[1]
    after = step + 1
    row = circuit.inside[lane if grid.arrangement == STRINGS else 0]
    passing = ", ".join(p.tag for p in row if p.after == after)
    target = (f"minus of {grid.name(step + 1, lane)}" if grid.stacked == 1
              else f"minus of group {step + 2}")
    return f"{passing}, then {target}" if passing else target

"""The one-line diagram of the actual circuit: two rails, the source on top, rungs below.

The positive rail runs down on the left, the negative on the right. Whatever stands in a
pole is drawn on its rail with its label inside; whatever lies across the poles is a rung
with its label above. So the picture grows downwards with the circuit and labels cannot meet.
"""

from __future__ import annotations

from collections.abc import Callable

from packcalc.protection import ProtectionStudy
from packcalc.report.document import Figure
from packcalc.report.drawings import symbols
from packcalc.report.drawings.circuit import (
    BEFORE,
    BEHIND_CONTACTORS,
    BEHIND_FUSE,
    BREAKS_OPEN,
    MINUS,
    PLUS,
    Circuit,
    Part,
    Rung,
    circuit_of,
    further,
    parts_table,
    plainly,
    voltage_words,
)
from packcalc.report.drawings.svg import (
    CHAIN,
    LEADING,
    PAPER,
    WIDTH,
    Canvas,
    wrap,
)
from packcalc.report.drawings.symbols import HALF, Spot

KEY = "one_line"
LEFT, RIGHT = 22.0, WIDTH - 22.0
LABEL = LEFT + 16
MIDDLE = WIDTH / 2
BRANCH = 176.0
MOST_STRINGS = 6
CARRIES = {"fuse": "rated at least", "inverter": "draws up to"}


class _Ladder:
    """The picture in the making: where the next rung goes, and where each rail ended."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas = canvas
        self.y = 0.0
        self.breaks: list[float] = []
        self._from = {PLUS: 0.0, MINUS: 0.0}

    def start(self, y: float) -> None:
        self.y = y
        self._from = {PLUS: y, MINUS: y}

    def rail(self, pole: str, to: float, onwards: float | None = None) -> None:
        """Draw a rail down to a height; go on from a lower one, after a symbol."""
        x = LEFT if pole == PLUS else RIGHT
        self.canvas.line(((x, self._from[pole]), (x, to)), weight=2.0)
        self._from[pole] = to if onwards is None else onwards

    def in_pole(self, pole: str, height: float) -> Spot:
        """Room for a symbol standing in a rail, in the middle of a height."""
        middle = self.y + height / 2
        self.rail(pole, middle - HALF, middle + HALF)
        return Spot(LEFT if pole == PLUS else RIGHT, middle, standing=True)

    def block_ends(self) -> None:
        """Nothing but the rails passes here: a tall picture may be cut for paper."""
        self.breaks.append(self.y + 2)

    def end(self) -> None:
        for pole in (PLUS, MINUS):
            self.rail(pole, self.y)


def one_line_figure(study: ProtectionStudy) -> Figure:
    """The circuit of a study with what is asked of each part."""
    circuit = circuit_of(study)
    text = _sentence(study, circuit)
    caption = "One-line diagram: the circuit as the brief states it"
    return Figure(KEY, caption, _draw(circuit, caption, text), text,
                  parts_table(f"{KEY}_parts", circuit.parts))


def _draw(circuit: Circuit, caption: str, text: str) -> str:
    canvas = Canvas(KEY)
    ladder = _Ladder(canvas)
    canvas.text((LEFT - 6, 14), PLUS, bold=True, size=15)
    canvas.text((RIGHT + 6, 14), MINUS, bold=True, size=15, anchor="end")
    _sources(ladder, circuit)
    for rung in circuit.sense:
        _sense(ladder, rung)
    _rungs(ladder, circuit, BEFORE)
    if circuit.contactors and circuit.precharge_tap == BEFORE:
        _tap(ladder, circuit.precharge[0])
    _main_fuses(ladder, circuit.main_fuses)
    _rungs(ladder, circuit, BEHIND_FUSE)
    if circuit.contactors:
        _contactors(ladder, circuit)
    if circuit.monitor is not None:
        _monitor(ladder, circuit.monitor)
    _rungs(ladder, circuit, BEHIND_CONTACTORS)
    _bus(ladder, circuit.bus)
    return canvas.finish(ladder.y + 12, caption, text, ladder.breaks)


# --- the source -------------------------------------------------------------------------

def _sources(ladder: _Ladder, circuit: Circuit) -> None:
    """One row for the pack, or one for each string; then what is asked of a string's parts."""
    canvas = ladder.canvas
    head = wrap(f"{circuit.source.tag}: {circuit.source.name}", RIGHT - LEFT - 30, most=3)
    canvas.lines((MIDDLE, 14), head, anchor="middle", tags=(circuit.source.tag,))
    first = 14 + LEADING * len(head) + 18
    if circuit.strings:
        first += 44
    ladder.start(first)
    rows = circuit.strings or ((),)
    shown = _shown(len(rows))
    for position, index in enumerate(shown):
        if position:
            ladder.y += 54
        if position and index != shown[position - 1] + 1:
            canvas.text((MIDDLE, ladder.y - 12), f"… strings {shown[position - 1] + 2} to {index} "
                        "alike …", anchor="middle")
            ladder.y += 20
        _row(ladder, circuit, index)
        if circuit.strings and index == 0:
            _string_precharge(ladder, circuit)
    ladder.y += 44
    lines = _source_words(circuit)
    canvas.lines((LABEL, ladder.y), lines, tags=_row_tags(circuit))
    ladder.y += LEADING * len(lines)


def _row_tags(circuit: Circuit) -> tuple[str, ...]:
    """What the words under the source may begin with."""
    first = (*circuit.inside[0], *(circuit.strings[0] if circuit.strings else ()))
    return (*(_family(part) for part in first), *(p.tag for p in circuit.precharge))


def _family(part: Part) -> str:
    """The tag of a part, or of its like in every string: "F2.n" for "F2.1"."""
    letters, dot, _ = part.tag.partition(".")
    return f"{letters}.n" if dot else letters


def _shown(count: int) -> list[int]:
    """Which strings are drawn: all, or the first few and the last."""
    if count <= MOST_STRINGS:
        return list(range(count))
    return [*range(MOST_STRINGS - 2), count - 1]


def _row(ladder: _Ladder, circuit: Circuit, index: int) -> None:
    """A string from rail to rail: its own parts at the ends, modules between."""
    canvas, y = ladder.canvas, ladder.y
    string = circuit.strings[index] if circuit.strings else ()
    whole = [*string[:2], *_sections(circuit, index), *string[2:]]
    pitch = (RIGHT - LEFT) / len(whole)
    at = LEFT
    for number, thing in enumerate(whole):
        spot = Spot(LEFT + pitch * (number + 0.5), y)
        canvas.line(((at, y), (spot.x - HALF, y)))
        at = spot.x + HALF
        _in_row(canvas, spot, thing)
    canvas.line(((at, y), (RIGHT, y)))
    for x in (LEFT, RIGHT):
        symbols.junction(canvas, (x, y))


def _sections(circuit: Circuit, index: int) -> list[Part | tuple[int, int]]:
    """Runs of modules and what stands between them, positive end first."""
    found: list[Part | tuple[int, int]] = []
    top = circuit.series
    for part in reversed(circuit.inside[index]):
        if part.after < top:
            found.append((part.after + 1, top))
        found.append(part)
        top = part.after
    return [*found, (1, top)]


def _in_row(canvas: Canvas, spot: Spot, thing: Part | tuple[int, int]) -> None:
    if isinstance(thing, tuple):
        symbols.battery(canvas, spot)
        first, last = thing
        words = f"{last}–{first}" if first != last else f"{first}"
    else:
        SYMBOLS[thing.kind](canvas, spot)
        words = thing.tag
    canvas.text((spot.x, spot.y + 24), words, anchor="middle",
                bold=not isinstance(thing, tuple))


def _string_precharge(ladder: _Ladder, circuit: Circuit) -> None:
    """Fuse, relay and resistor over the first string's positive contactor.

    Their wires leave at the node between that contactor and the string fuse, and end at the bus:
    the picture's left.
    """
    canvas, y = ladder.canvas, ladder.y
    count = 3 + len(_sections(circuit, 0))
    node = LEFT + (RIGHT - LEFT) / count
    high = y - 30
    spots = [Spot(LEFT + 30 + 54 * n, high) for n in range(len(circuit.precharge))]
    far = max(node, spots[-1].x + HALF + 8) if node < spots[-1].x + HALF else node
    at = LEFT
    canvas.line(((LEFT, y), (LEFT, high)))
    for spot, part in zip(spots, reversed(circuit.precharge), strict=True):
        canvas.line(((at, high), (spot.x - HALF, high)))
        SYMBOLS[part.kind](canvas, spot)
        canvas.text((spot.x, high - 13), part.tag, anchor="middle", bold=True)
        at = spot.x + HALF
    canvas.line(((at, high), (far, high), (far, high + 12), (node, high + 12), (node, y)))
    symbols.junction(canvas, (node, y))


def _source_words(circuit: Circuit) -> tuple[str, ...]:
    source, room = circuit.source, RIGHT - LABEL - 16
    parts = [f"{source.other}; {circuit.most}, {_shown_of(source.breaking)} into a fault"]
    parts += [f"{_family(p)} {p.name}, after module {p.after}: {_ratings(p)}"
              for p in circuit.inside[0]]
    if circuit.strings:
        plus, fuse, minus = circuit.strings[0]
        parts += [f"{_family(plus)} and {_family(minus)} contactors of string n: {_ratings(plus)}",
                  f"{_family(fuse)} fuse of string n: {_ratings(fuse)}"]
        parts += [f"{p.tag} {p.name}: {_ratings(p)}" for p in circuit.precharge]
    return tuple(line for part in parts for line in wrap(part, room, most=4))


def _shown_of(finding) -> str:
    return finding.shown if finding is not None and finding.known else "not known"


def _ratings(part: Part, *, voltage: bool = True) -> str:
    """What is asked of a part, in one line of words."""
    said = []
    if part.current is not None and part.current.known:
        does = "carries at least" if part.rated is not None else CARRIES.get(part.kind, "carries")
        said.append(f"{does} {part.current.shown}")
    if voltage and part.voltage is not None and part.voltage.known:
        said.append(f"above {voltage_words(part.voltage)}")
    if part.breaking is not None:
        said.append(f"breaks {part.breaking.shown}" if part.breaking.known else BREAKS_OPEN)
    return ", ".join(filter(None, (*said, further(part))))


# --- what stands in the poles -----------------------------------------------------------

def _main_fuses(ladder: _Ladder, fuses: tuple[Part, ...]) -> None:
    room = RIGHT - LABEL - 20
    for part in fuses:
        lines = (f"{part.tag} {part.name}", *wrap(_ratings(part), room, most=3))
        _standing(ladder, part, lines)


def _standing(ladder: _Ladder, part: Part, lines: tuple[str, ...]) -> None:
    """A part on its rail with its label inside the ladder."""
    height = max(2 * HALF + 14, LEADING * len(lines) + 12)
    spot = ladder.in_pole(part.pole, height)
    SYMBOLS[part.kind](ladder.canvas, spot)
    first = spot.y - LEADING * (len(lines) - 1) / 2 + 4
    at, anchor = (LABEL, "start") if part.pole == PLUS else (RIGHT - 16, "end")
    ladder.canvas.lines((at, first), lines, anchor=anchor, tags=(part.tag,))
    ladder.y += height


def _contactors(ladder: _Ladder, circuit: Circuit) -> None:
    """The positive contactor with the pre-charge branch beside it, then the negative one."""
    plus, minus = circuit.contactors
    room = BRANCH - LABEL - 12
    own = (plus.tag, *wrap(f"{plus.name}: {_ratings(plus)}", room, most=7))
    side = RIGHT - 10 - BRANCH - 14
    labels = [_beside(part, side) for part in circuit.precharge]
    heights = [max(2 * HALF + 10, LEADING * len(lines) + 10) for lines in labels]
    height = max(sum(heights) + 16, LEADING * len(own) + 24)
    canvas, top = ladder.canvas, ladder.y + 8
    spot = ladder.in_pole(PLUS, height)
    symbols.contactor(canvas, spot)
    canvas.lines((LABEL, spot.y - LEADING * (len(own) - 1) / 2 + 4), own,
                 tags=(plus.tag,))
    bottom = ladder.y + height - 8
    at, y = top, top
    for part, lines, tall in zip(circuit.precharge, labels, heights, strict=True):
        inner = Spot(BRANCH, y + tall / 2, standing=True)
        canvas.line(((BRANCH, at), (BRANCH, inner.y - HALF)))
        SYMBOLS[part.kind](canvas, inner)
        canvas.lines((BRANCH + 14, inner.y - LEADING * (len(lines) - 1) / 2 + 4), lines,
                     tags=(part.tag,))
        at, y = inner.y + HALF, y + tall
    canvas.line(((BRANCH, at), (BRANCH, bottom)))
    elsewhere = circuit.precharge_tap == BEFORE
    for place in (bottom,) if elsewhere else (top, bottom):
        canvas.line(((LEFT, place), (BRANCH, place)))
        symbols.junction(canvas, (LEFT, place))
    if elsewhere:
        canvas.dot((BRANCH, top), 2.6, fill=PAPER)
        canvas.text((BRANCH - 6, top + 4), "from above", anchor="end")
    ladder.y += height
    _standing(ladder, minus, (f"{minus.tag} {minus.name}", f"asked the same as {plus.tag}"))
    ladder.block_ends()


def _beside(part: Part, room: float) -> tuple[str, ...]:
    """The label of a part of the pre-charge path."""
    said = {"resistor": part.other, "fuse": _rated(part)}.get(part.kind) or _ratings(
        part, voltage=False)
    return (part.tag, *wrap(f"{part.name}: {said}", room, most=5))


def _tap(ladder: _Ladder, first: Part) -> None:
    """Where the wires of pre-charge leave the + pole, ahead of the main fuse."""
    canvas, y = ladder.canvas, ladder.y + 16
    canvas.line(((LEFT, y), (LEFT + 40, y)))
    symbols.junction(canvas, (LEFT, y))
    canvas.dot((LEFT + 40, y), 2.6, fill=PAPER)
    canvas.text((LEFT + 50, y + 4), f"pre-charge, to {first.tag} below")
    ladder.y = y + 12


# --- what reads the cells ---------------------------------------------------------------

def _sense(ladder: _Ladder, rung: Rung) -> None:
    """The management system with some of its wires, each with its fuse at the cell end."""
    load, canvas = rung.load, ladder.canvas
    said = [f"{load.tag} {load.name}: {load.other}"]
    said += [f"{f.tag} {f.name}: {_rated(f)}".rstrip(": ") for f in rung.fuses]
    said += [load.note] if load.note else []
    top = _above(ladder, said, (load.tag, *(f.tag for f in rung.fuses)))
    box, tap = Spot(MIDDLE + 40, top + 16), LABEL + 96
    for number, words in enumerate(("tap of the first cell", "…", "tap of the last cell")):
        y = top + 16 * number
        canvas.text((tap - 8, y + 4), words, anchor="end")
        canvas.dot((tap, y), 2.6, fill=PAPER)
        if rung.fuses:
            fuse = Spot(tap + 24, y)
            canvas.line(((tap + 2.6, y), (fuse.x - HALF, y)))
            symbols.fuse(canvas, fuse)
            canvas.line(((fuse.x + HALF, y), (box.x - 20, y)))
        else:
            canvas.line(((tap + 2.6, y), (box.x - 20, y)))
    symbols.management(canvas, box, load.tag)
    ladder.y = top + 46
    ladder.block_ends()


# --- what lies across the poles ---------------------------------------------------------

def _rungs(ladder: _Ladder, circuit: Circuit, tap: str) -> None:
    for rung in circuit.rungs:
        if rung.tap == tap:
            _rung(ladder, rung)
            ladder.block_ends()


def _rung(ladder: _Ladder, rung: Rung) -> None:
    load = rung.load
    said = [f"{load.tag} {load.name}" + (f": {load.other}" if load.other else "")]
    if load.current is not None and load.kind == "inlet":
        said[0] += f", {load.current.shown}"
    said += _alike(rung.fuses, "fuse", _rated)
    said += _alike(rung.contactors, "charge contactor", _ratings)
    said += [] if rung.fuses or load.kind == "inlet" else [load.note]
    y = _above(ladder, said, (load.tag, _tags(rung.fuses), _tags(rung.contactors)))
    canvas = ladder.canvas
    spots = [(Spot(LEFT + at if p.pole == PLUS else RIGHT - at, y), p)
             for at, parts in ((36, rung.fuses), (82, rung.contactors)) for p in parts]
    middle = Spot(MIDDLE, y)
    half = 16.0 if load.kind == "load" else HALF
    _wire(canvas, y, [(s.x - HALF, s.x + HALF) for s, _ in spots]
          + [(middle.x - half, middle.x + half)])
    for spot, part in spots:
        SYMBOLS[part.kind](canvas, spot)
    if load.kind == "load":
        symbols.load(canvas, middle, load.tag)
    elif load.kind == "monitor":
        _to_chassis(canvas, middle)
    else:
        symbols.inlet(canvas, middle)
    ladder.y = y + (34 if load.kind == "monitor" else 18)


def _rated(fuse: Part) -> str:
    """Stated rating and part of a fuse that the brief describes."""
    return ", ".join(x for x in (plainly(fuse.rated) if fuse.rated else "", fuse.other) if x)


def _tags(parts: tuple[Part, ...]) -> str:
    return " ".join(p.tag for p in parts)


def _alike(parts: tuple[Part, ...], name: str, rated: Callable[[Part], str]) -> list[str]:
    """One line for the same part in one pole or in both."""
    if not parts:
        return []
    poles = " and ".join(p.pole for p in parts)
    return [f"{_tags(parts)} {name}, {poles}: {rated(parts[0])}"]


def _above(ladder: _Ladder, said: list[str], tags: tuple[str, ...]) -> float:
    """Write a rung's label; returns the height of the rung itself."""
    lines = [line for words in said if words
             for line in wrap(words, RIGHT - LABEL - 16, most=3)]
    ladder.canvas.lines((LABEL, ladder.y + 16), lines, tags=tags)
    return ladder.y + 16 + LEADING * (len(lines) - 1) + 20


def _wire(canvas: Canvas, y: float, gaps: list[tuple[float, float]]) -> None:
    """A rung from rail to rail with gaps for symbols, and its junctions."""
    at = LEFT
    for begin, end in sorted(gaps):
        canvas.line(((at, y), (begin, y)))
        at = end
    canvas.line(((at, y), (RIGHT, y)))
    for x in (LEFT, RIGHT):
        symbols.junction(canvas, (x, y))


def _monitor(ladder: _Ladder, part: Part) -> None:
    y = _above(ladder, [f"{part.tag} {part.name}: {part.other}"], (part.tag,))
    canvas, spot = ladder.canvas, Spot(MIDDLE, y)
    _wire(canvas, y, [(MIDDLE - HALF, MIDDLE + HALF)])
    _to_chassis(canvas, spot)
    ladder.y = y + 34


def _to_chassis(canvas: Canvas, spot: Spot) -> None:
    """An insulation monitor with its third lead."""
    symbols.monitor(canvas, spot)
    canvas.line(((spot.x, spot.y + 9), (spot.x, spot.y + 18)))
    symbols.chassis(canvas, (spot.x, spot.y + 18))


def _bus(ladder: _Ladder, parts: tuple[Part, ...]) -> None:
    """Discharge resistor, then the inverter's frame with capacitor and converter."""
    canvas = ladder.canvas
    *across, inverter = parts
    frame = ladder.y
    for part in across:
        if part.kind == "capacitor":
            ladder.y += 8
            frame = ladder.y
        y = _above(ladder, [f"{part.tag} {part.name}: {part.other}"
                            + (f"; {part.note}" if part.note else "")], (part.tag,))
        _wire(canvas, y, [(MIDDLE - HALF, MIDDLE + HALF)])
        SYMBOLS[part.kind](canvas, Spot(MIDDLE, y))
        ladder.y = y + 14
    lines = wrap(f"{inverter.tag} {inverter.name}: {_ratings(inverter, voltage=False)}",
                 RIGHT - LABEL - 16, most=4)
    canvas.lines((LABEL, ladder.y + 16), lines, tags=(inverter.tag,))
    centre = ladder.y + 16 + LEADING * (len(lines) - 1) + 30
    symbols.converter(canvas, (MIDDLE, centre), alternating=True)
    ladder.y = centre
    ladder.end()
    canvas.line(((LEFT, centre), (MIDDLE - 18, centre)), weight=2.0)
    canvas.line(((MIDDLE + 18, centre), (RIGHT, centre)), weight=2.0)
    for shift in (-6, 0, 6):
        canvas.line(((MIDDLE + shift, centre + 18), (MIDDLE + shift, centre + 42)))
    canvas.text((MIDDLE + 16, centre + 41), "to the motor")
    x = LEFT - 14
    canvas.line(((x, frame), (WIDTH - x, frame), (WIDTH - x, centre + 24), (x, centre + 24),
                 (x, frame)), dash=CHAIN, weight=0.8)
    ladder.y = centre + 40


SYMBOLS = {"fuse": symbols.fuse, "contactor": symbols.contactor, "battery": symbols.battery,
           "disconnect": symbols.disconnect, "resistor": symbols.resistor,
           "capacitor": symbols.capacitor}


def _sentence(study: ProtectionStudy, circuit: Circuit) -> str:
    """The picture in words."""
    said = [f"From the positive to the negative end: {circuit.source.tag}, "
            f"{circuit.source.name}, {circuit.most} and "
            f"{_shown_of(circuit.source.breaking)} into a fault."]
    said += [f"{_family(p)}, {p.name}, after module {p.after} from the negative end: {_ratings(p)}."
             for p in circuit.inside[0]]
    if circuit.strings:
        plus, fuse, minus = circuit.strings[0]
        said.append(f"Each of the {len(circuit.strings)} strings has a contactor at either end, "
                    f"{_family(plus)} and {_family(minus)}: {_ratings(plus)}; and a fuse of its "
                    f"own, {_family(fuse)}: {_ratings(fuse)}; then they join.")
    said += [f"{p.tag}, {p.name} in the {p.pole} pole: {_ratings(p)}." for p in circuit.main_fuses]
    if circuit.contactors:
        plus, minus = circuit.contactors
        said.append(f"{plus.tag} in the {PLUS} pole and {minus.tag} in the {MINUS} pole, main "
                    f"contactors: {_ratings(plus)}.")
    said += [_sense_sentence(rung) for rung in circuit.sense]
    path = circuit.precharge
    resistor = next(p for p in path if p.kind == "resistor")
    across = f"across the {PLUS} contactor, tapped {circuit.precharge_tap}"
    if circuit.strings:
        plus, fuse, _ = circuit.strings[0]
        across = (f"across {plus.tag}, from between it and {fuse.tag} to where the strings join, "
                  f"{BEFORE}")
    said.append(f"{', '.join(p.tag for p in path)} in series, pre-charge {across}: "
                f"{resistor.other}.")
    relay = next(p for p in path if p.kind == "contactor")
    said += [f"{relay.tag}: {relay.note}."] if relay.note else []
    if circuit.monitor:
        said.append(f"{circuit.monitor.tag}, insulation monitor: {circuit.monitor.other}.")
    elif not any(rung.load.kind == "monitor" for rung in circuit.rungs):
        said.append("No insulation monitor is counted on.")
    said += [_rung_sentence(rung) for rung in circuit.rungs]
    said += [f"{p.tag}, {p.name}: {p.other}{f' ({p.note})' if p.note else ''}."
             for p in circuit.bus]
    return " ".join([*said, "A diagram for review, not for wiring."])


def _sense_sentence(rung: Rung) -> str:
    behind = "".join(f", {f.tag} in each wire" for f in rung.fuses)
    note = f" ({rung.load.note})" if rung.load.note else ""
    return f"{rung.load.tag}, {rung.load.name}, {rung.load.other}{behind}{note}."


def _rung_sentence(rung: Rung) -> str:
    fuses = ", ".join(f.tag for f in rung.fuses)
    behind = f", fused by {fuses}" if fuses else f" ({rung.load.note})"
    cut = f", cut off by {', '.join(c.tag for c in rung.contactors)}" if rung.contactors else ""
    what = f" ({rung.load.other})" if rung.load.kind == "monitor" else ""
    return f"{rung.load.tag}, {rung.load.name}{what}, {rung.load.place}{behind}{cut}."

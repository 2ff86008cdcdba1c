"""The sections `[bench]` and `[donor]` of a brief, which a brief need not have.

A threshold that is left out is a default with its ground, not an open entry: it moves no
layout.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import Any

from packcalc.bench.donor_past import donor_told
from packcalc.bench.sheet import BenchSheet, of_other_types
from packcalc.bench_keys import BENCH_KEYS
from packcalc.brief import Bench, Brief, Donor, WantedPins
from packcalc.errors import Fault, InputErrors
from packcalc.findings import Origin, leaf
from packcalc.modules import ModuleType
from packcalc.reading.bench_sheet import read_with_faults
from packcalc.reading.entries import Notes, entry, is_unknown, keys_of, kind_of, schema_safe
from packcalc.reading.positions import KeyPath, positions, read_text
from packcalc.reading.told_once import told_once
from packcalc.units import into_si

PIN_LISTS = ("pins_together", "pins_apart", "pins_not_in")
PLAIN_BENCH = ("file", *PIN_LISTS, "boxes")
MOST_PINS, MOST_BOXES = 200, 50
PLAIN_DONOR = ("title", "record", "label", "sections")
MOST_SECTIONS, MOST_STEPS = 60, 400
RISING = (("capacity_reject", "capacity_warn"), ("capacity_warn", "capacity_suspect"),
          ("resistance_suspect", "resistance_warn"), ("resistance_warn", "resistance_reject"),
          ("selfdischarge_quarantine", "selfdischarge_reject"))

ModuleReader = Callable[[Notes, Any, dict[str, Any], KeyPath], ModuleType | None]


def default_bench() -> Bench:
    """The thresholds of a sheet that comes without a brief."""
    figures = {key.name: leaf(
        key.title, key.symbol, key.unit,
        None if key.safe is None else into_si(float(key.safe), key.unit), key.basis,
        source=key.source, origin=Origin("default", key=key.dotted), note=key.consequence)
        for key in BENCH_KEYS if key.dimension != "words"}
    words = {key.name: str(key.safe) for key in BENCH_KEYS if key.dimension == "words"}
    return Bench(file="", **figures, **words)


def read_bench(notes: Notes, data: Mapping[str, Any]) -> Bench | None:
    """`[bench]`, or None where the brief has none."""
    if data.get("bench") is None:
        return None
    table = notes.table(data["bench"], ("bench",))
    notes.only(table, [*PLAIN_BENCH, *(key.name for key in keys_of("bench"))], ("bench",))
    found = _figures(notes, "bench", table)
    for lower, higher in RISING:
        low, high = found[lower].value, found[higher].value
        if low is not None and high is not None and low > high:
            at = lower if lower in table else higher
            notes.fault(("bench", at), f"{found[lower].title} ({found[lower].shown}) lies above "
                        f"{found[higher].title} ({found[higher].shown})", "mend one of the two")
    return Bench(file=notes.words(table, "file", ("bench",)), pins=_pins(notes, table), **found)


def only_type(brief: Brief) -> ModuleType | None:
    """The type of a row that names none: the brief's only one; None where there are others.

    An entry whose type is still unknown is another: its modules may be on the sheet too.
    """
    return brief.modules[0].module if len(brief.modules) == 1 and not brief.untyped else None


def sheet_faults(brief: Brief) -> tuple[Fault, ...]:
    """What is wrong with the bench sheet that a brief names; a whole file's fault stands in the
    brief, at the entry that names it.
    """
    if brief.bench is None or not brief.bench.file:
        return ()
    try:
        _, faults = _named_sheet(brief, brief.bench)
    except InputErrors as error:
        faults = error.faults
    line = positions(read_text(brief.place)).lines.get(("bench", "file"), 0) if faults else 0
    return tuple(f if f.line else Fault(brief.place, line, "bench.file", f"{f.file} {f.wrong}",
                                        f.right) for f in told_once(faults, by_key=True))


def rows_left_out(brief: Brief) -> str:
    """One line on rows of the bench sheet that are of no type of the brief; "" where none is.

    Raises:
        InputErrors: the sheet cannot be read, see `sheet_faults`.
    """
    if brief.bench is None or not brief.bench.file:
        return ""
    sheet, _ = _named_sheet(brief, brief.bench)
    return of_other_types(sheet.rows, {on_hand.module.id for on_hand in brief.modules})


def told_by_donor(brief: Brief) -> tuple[str, ...]:
    """What the past of the brief's donor does to the bench sheet that it names, a line each.

    Raises:
        InputErrors: the sheet cannot be read, see `sheet_faults`.
    """
    if brief.bench is None or not brief.bench.file:
        return ()
    return tuple(words for _, words in donor_told(_named_sheet(brief, brief.bench)[0], brief.donor))


def _named_sheet(brief: Brief, bench: Bench) -> tuple[BenchSheet, tuple[Fault, ...]]:
    return read_with_faults(os.path.join(os.path.dirname(brief.place), bench.file),
                            only_type(brief), [on_hand.module for on_hand in brief.modules])


def _pins(notes: Notes, table: Mapping[str, Any]) -> WantedPins:
    """Pins by mark, and the boxes that some of them name."""
    together, apart, not_in = (_marks(notes, table.get(name), name) for name in PIN_LISTS)
    boxes = _boxes(notes, table.get("boxes"))
    named = {name for name, _, _ in boxes}
    for pair in not_in:
        if len(pair) != 2 or pair[1] not in named:
            notes.fault(("bench", "pins_not_in"), f"{list(pair)} names no box of bench.boxes",
                        'write [["M03", "rear"]] beside boxes = { rear = [9, 16] }')
    lines = tuple((name, notes.line(("bench", name))) for name in (*PIN_LISTS, "boxes"))
    return WantedPins(together, apart, tuple((p[0], p[1]) for p in not_in if len(p) == 2), boxes,
                      lines)


def _marks(notes: Notes, raw: Any, name: str) -> tuple[tuple[str, ...], ...]:
    right = f'write lists of marks, like {name} = [["M07", "M12"]]'
    if is_unknown(raw):
        return ()
    if not isinstance(raw, (list, tuple)) or len(raw) > MOST_PINS or not all(
            isinstance(pin, (list, tuple)) and 2 <= len(pin) <= 100
            and all(isinstance(mark, str) for mark in pin) for pin in raw):
        notes.fault(("bench", name), "is no list of lists of marks", right)
        return ()
    found = tuple(tuple(mark.strip() for mark in pin) for pin in raw)
    for pin in found if name != "pins_not_in" else ():
        twice = next((mark for i, mark in enumerate(pin) if mark in pin[:i]), "")
        if twice:
            notes.fault(("bench", name), f"names {twice} twice in one pin", right)
    return found


def _boxes(notes: Notes, raw: Any) -> tuple[tuple[str, int, int], ...]:
    if is_unknown(raw):
        return ()
    fits = isinstance(raw, Mapping) and len(raw) <= MOST_BOXES and all(
        isinstance(span, (list, tuple)) and len(span) == 2
        and all(isinstance(n, int) and not isinstance(n, bool) for n in span)
        and 1 <= span[0] <= span[1] for span in raw.values())
    if not fits:
        notes.fault(("bench", "boxes"), "names no spans of places", "write first and last place "
                    "of each box, like boxes = { front = [1, 8], rear = [9, 16] }")
        return ()
    found = tuple((name, span[0], span[1]) for name, span in raw.items())
    in_order = sorted(found, key=lambda box: box[1:])
    for (one, _, last), (other, first, _) in zip(in_order, in_order[1:]):
        if first <= last:
            notes.fault(("bench", "boxes"), f"place {first} stands in {one} and in {other}",
                        "mend the spans: a place stands in one box")
    return found


def read_donor(notes: Notes, data: Mapping[str, Any], module_of: ModuleReader) -> Donor | None:
    """`[donor]`, or None where the brief has none or its faults are noted."""
    if data.get("donor") is None:
        return None
    table = notes.table(data["donor"], ("donor",))
    notes.only(table, [*PLAIN_DONOR, *(key.name for key in keys_of("donor"))], ("donor",))
    found = _figures(notes, "donor", table)
    sections = _sections(notes, table.get("sections"))
    plug = found["service_plug_after"].value
    if plug is not None and sections and plug >= len(sections):
        notes.fault(("donor", "service_plug_after"), f"there is no joint after section {plug:.0f} "
                    f"of {len(sections)}", "count sections from the minus end; the plug stands "
                    "between two of them")
    label = {} if is_unknown(table.get("label")) else {"label": table["label"]}
    module = module_of(notes, table.get("record"), label, ("donor",))
    if module is None or not sections:
        return None
    return Donor(title=notes.words(table, "title", ("donor",)), module=module, sections=sections,
                 **found)


def _figures(notes: Notes, section: str, table: Mapping[str, Any]) -> dict[str, Any]:
    before = len(notes.unknowns)
    found: dict[str, Any] = {}
    for key in keys_of(section):
        found |= entry(notes, key, table.get(key.name), (section, key.name), schema_safe(key))
    del notes.unknowns[before:]
    return found


def _sections(notes: Notes, raw: Any) -> tuple[int, ...]:
    """Steps of the chain in each section, e.g. [8, 8]."""
    at, right = ("donor", "sections"), "write the steps of each section from the minus end, " \
        "like sections = [9, 9]"
    if is_unknown(raw):
        notes.fault(at, "how many modules in each section? needed for a teardown sheet", right)
    elif not isinstance(raw, (list, tuple)):
        notes.fault(at, f"is {kind_of(raw)}, not a list of counts", right)
    elif not raw or not all(isinstance(n, int) and not isinstance(n, bool) and n > 0 for n in raw):
        notes.fault(at, "holds something else than whole numbers above 0", right)
    elif len(raw) > MOST_SECTIONS or sum(raw) > MOST_STEPS:
        notes.fault(at, f"more than {MOST_SECTIONS} sections or {MOST_STEPS} modules", right)
    else:
        return tuple(raw)
    return ()

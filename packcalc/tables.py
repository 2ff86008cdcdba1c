"""The one door to the tables of standards that ship as data files.

A table is a CSV file under `data/tables/`. Its first lines begin with `#` and hold
`key: value` pairs: title, source (key of the register), edition, conditions, basis,
note. Then one header row and the rows. A column named `basis` overrides the table's
basis row by row. Numeric columns end in their unit, e.g. `current_A`, `size_mm2`.
"""

from __future__ import annotations

import csv
import functools
from importlib import resources

from packcalc.errors import OutOfRange, ProgramFault
from packcalc.findings import Finding, Origin, leaf
from packcalc.value import value_object

META = ("title", "source", "edition", "conditions", "basis", "note")


@value_object
class Table:
    """One standard table.

    Attributes:
        name: file name without its ending.
        title, source, edition, conditions, basis, note: from the file's head.
        columns: names in file order.
        rows: one dict a row; numbers as float, empty cells as None, words as str.
    """

    name: str
    title: str
    source: str
    edition: str
    conditions: str
    basis: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[dict[str, float | str | None], ...]

    def where(self, **words: str | float) -> "Table":
        """The rows that hold exactly these values."""
        rows = tuple(r for r in self.rows if all(r[k] == v for k, v in words.items()))
        return Table(self.name, self.title, self.source, self.edition, self.conditions,
                     self.basis, self.note, self.columns, rows)

    def numbers(self, column: str) -> list[float]:
        """A numeric column without its empty cells."""
        return [row[column] for row in self.rows if isinstance(row[column], float)]

    def row_basis(self, row: dict[str, float | str | None]) -> str:
        """The basis of one row."""
        return str(row.get("basis") or self.basis)

    def at_or_above(self, key: str, value: float, *, want: str) -> dict[str, float | str | None]:
        """The row with the smallest `key` that is not below `value` (rounds up).

        Raises:
            OutOfRange: `value` lies above the table, or below its first row's band.
        """
        rows = sorted((r for r in self.rows if isinstance(r[key], float)
                       and r.get(want) is not None), key=lambda r: r[key])
        for row in rows:
            if row[key] >= value:
                return row
        raise OutOfRange(self._outside(key, value, rows, want))

    def _outside(self, key: str, value: float, rows: list, want: str) -> str:
        ends = sorted(r[key] for r in rows)
        span = f"{ends[0]:g} to {ends[-1]:g}" if ends else "no rows"
        return f"{self.title}: {key} = {value:g} is outside the table ({span}) for {want}"

    def finding(self, row: dict[str, float | str | None], column: str, title: str, symbol: str,
                unit: str, value_si: float) -> Finding:
        """A leaf for one cell, with table, conditions and basis."""
        words = ", ".join(f"{k} {v:g}" if isinstance(v, float) else f"{k} {v}"
                          for k, v in row.items()
                          if v is not None and k not in ("basis", column) and len(str(v)) < 40)
        return leaf(title, symbol, unit, value_si, self.row_basis(row), source=self.source,
                    origin=Origin(f"table {self.name}", key=column, text=words[:160]),
                    note=self.conditions)


@functools.lru_cache(maxsize=None)
def table(name: str) -> Table:
    """Load one table of the package.

    Raises:
        ProgramFault: no such table, or its head lacks what a reader must know.
    """
    path = resources.files("packcalc").joinpath(f"data/tables/{name}.csv")
    try:
        lines = path.read_text("utf-8").splitlines()
    except FileNotFoundError as missing:
        raise ProgramFault(f"no table {name}") from missing
    head: dict[str, str] = {}
    for line in lines:
        if line.startswith("#"):
            key, _, value = line[1:].partition(":")
            head[key.strip()] = value.strip()
    for key in META[:5]:
        if not head.get(key):
            raise ProgramFault(f"table {name} lacks {key} in its head")
    reader = csv.DictReader(line for line in lines if not line.startswith("#"))
    rows = tuple({k: _cell(k, v) for k, v in row.items()} for row in reader)
    return Table(name, head["title"], head["source"], head["edition"], head["conditions"],
                 head["basis"], head.get("note", ""), tuple(reader.fieldnames or ()), rows)


def names() -> list[str]:
    """Every table that ships."""
    folder = resources.files("packcalc").joinpath("data/tables")
    return sorted(p.name.removesuffix(".csv") for p in folder.iterdir() if p.name.endswith(".csv"))


_WORDS = ("basis", "size", "note", "rule", "arrangement", "use", "insulation", "material", "unit",
          "read_in", "class", "table", "quantity", "kind", "medium", "chemistry", "curve")


def _cell(column: str, text: str | None) -> float | str | None:
    if text is None or text.strip() == "":
        return None
    if column in _WORDS:
        return text.strip()
    try:
        return float(text)
    except ValueError as fault:
        raise ProgramFault(f"column {column} holds {text!r}, which is no number") from fault

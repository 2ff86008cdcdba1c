"""The neutral document: what every renderer prints, and nothing about how.

A document is a list of sections; a section is a list of blocks. Tables carry a machine
key for each column, ending in its unit, so that JSON and CSV come from the same block
that a page shows. Figures carry their data and a text equivalent.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Union

from packcalc.findings import Finding
from packcalc.report.cautions import SHORT
from packcalc.value import value_object


@value_object
class Column:
    """One column: machine key (ends in its unit, e.g. `energy_kWh`), printed title.

    Attributes:
        key: stable; used by JSON and CSV.
        title: as printed, with unit.
        align: "left" or "right".
        wide: text that may wrap.
    """

    key: str
    title: str
    align: str = "left"
    wide: bool = False


TO_FILL = "____"  # a cell that a hand fills in


@dataclass(frozen=True, init=False)  # made by the thousand
class Cell:
    """One cell: the text a page shows, the value JSON and CSV carry."""

    text: str
    value: Any = None

    def __init__(self, text: str, value: Any = None) -> None:
        values = self.__dict__
        values["text"] = text
        values["value"] = value

    @property
    def data(self) -> Any:
        return self.text if self.value is None else self.value


@value_object
class Table:
    """A table. `key` is its stable name in JSON and the file stem in CSV."""

    key: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""


@value_object
class Facts:
    """A short two-column list of labelled values; `key` is its name in JSON.

    `lower_bounds` holds the keys of values that may be more, `upper_bounds` of those that may be
    less, `to_confirm` of those that rest on what the brief leaves open, for whoever reads data
    alone; None where the list has no such thing to say.
    """

    key: str
    caption: str
    rows: tuple[tuple[str, str, Cell], ...]  # (machine key, printed label, value)
    lower_bounds: tuple[str, ...] | None = None
    upper_bounds: tuple[str, ...] | None = None
    to_confirm: tuple[str, ...] | None = None

    @property
    def bounds(self) -> tuple[tuple[str, str, tuple[str, ...] | None], ...]:
        """(key in the data, label, keys of values) of each."""
        return (("lower_bounds", "May be more", self.lower_bounds),
                ("upper_bounds", "May be less", self.upper_bounds),
                ("to_confirm", "Subject to confirming", self.to_confirm))


@value_object
class Paragraph:
    """Plain text; `kind` is "text", "caution", "open" or "lead"."""

    text: str
    kind: str = "text"


@value_object
class Bullets:
    """A list of lines; `key` names it in JSON when it is not empty."""

    items: tuple[str, ...]
    key: str = ""
    ordered: bool = False
    kind: str = "text"


@value_object
class Chain:
    """A finding to be unfolded: inputs, rule, result, source, basis."""

    key: str
    finding: Finding
    governing: str = ""


@value_object
class Figure:
    """A picture from data: SVG text, its text equivalent, and its data as a table.

    Attributes:
        legend: whether that table says what the letters of the picture mean, and so stands open.
        wide: whether the picture keeps a width that a phone has to scroll.
    """

    key: str
    caption: str
    svg: str
    text: str
    data: Table | None = None
    legend: bool = False
    wide: bool = False


Block = Union[Table, Facts, Paragraph, Bullets, Chain, Figure]


@value_object
class Section:
    """One section; `level` 1 stands right under the document's title."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    level: int = 1


@value_object
class Document:
    """A whole report.

    Attributes:
        title, subtitle: first lines.
        meta: (machine key, label, text): version, digest, date of issue.
        cautions: the high-voltage cautions; every renderer prints every one.
        deference: one sentence that defers to local codes and a licensed electrician.
        sections: in reading order.
        short: the cautions in short, for the head of the page and the foot of each sheet.
        data: tables that no page has room for; JSON alone carries them.
    """

    title: str
    subtitle: str
    meta: tuple[tuple[str, str, str], ...]
    cautions: tuple[str, ...]
    deference: str
    sections: tuple[Section, ...] = field(default=())
    short: str = SHORT
    data: tuple[Table, ...] = ()

    def blocks(self) -> Iterator[Block]:
        for section in self.sections:
            yield from section.blocks

    def tables(self) -> list[Table]:
        """Every table, figures' data included."""
        found: list[Table] = []
        for block in self.blocks():
            if isinstance(block, Table):
                found.append(block)
            elif isinstance(block, Figure) and block.data is not None:
                found.append(block.data)
        return found

    def chains(self) -> list[Chain]:
        """Every finding that is unfolded."""
        return [block for block in self.blocks() if isinstance(block, Chain)]

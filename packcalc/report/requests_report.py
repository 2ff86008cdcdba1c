"""The request sheets that are to be sent: one line for each part that nobody has named yet."""

from __future__ import annotations

from packcalc.checks import Item
from packcalc.decisions import named_for
from packcalc.handover.bill import Line, bill
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import column, machine_key, whole, words
from packcalc.report.document import Cell, Column, Paragraph, Section, Table

# Their lines are asked of the whole, or by several parts: nobody sells them.
NOT_BOUGHT = ("highest_voltage", "overvoltage", "insulation", "coordination",
              "string_coordination", "switching", "strings")
BOUGHT_AS = {"mid_fuse": "inside_fuse", "charge_contactor": "charge_contactors",
             "string_contactors": "contactors", "precharge_relay": "precharge"}


def to_send(study: ProtectionStudy) -> tuple[Item, ...]:
    """Every part with a specification and no part of the user's own named for it."""
    return tuple(item for item in study.items if item.specification
                 and item.key not in NOT_BOUGHT and not _named(study, item))


def nothing_named(study: ProtectionStudy) -> bool:
    """Whether the brief names no part at all."""
    return not any(_named(study, item) for item in study.items)


def _named(study: ProtectionStudy, item: Item) -> bool:
    relay = item.key != "precharge" or study.brief.parts.precharge_relay
    return bool(named_for(item, study.brief) and relay)


def requests_section(study: ProtectionStudy) -> tuple[Section, ...]:
    """One line a sheet, with where it stands; nothing where every part is named."""
    items = to_send(study)
    if not items:
        return ()
    lines = {line.key: line for line in bill(study)}
    columns = (column("part", "Part", wide=True), column("quantity", "How many"),
               Column("lines", "Lines asked", "right"), column("part_key", "KEY"))
    rows = tuple((words(item.title), _quantity(lines.get(BOUGHT_AS.get(item.key, item.key))),
                  whole(len(item.specification)), words(machine_key(item.key)))
                 for item in items)
    many = f"{len(rows)} sheets" if len(rows) > 1 else "1 sheet"
    return (Section("requests", "Request sheets to send", (
        Paragraph(f"{many} to send: no part is named for these. Each stands with its part below, "
                  "as \"specification to send to a supplier\".", "lead"),
        Table("request_sheets", "Where each sheet stands", columns, rows,
              "By itself: packcalc protect BRIEF --part KEY; the sheet alone, to send: --format "
              "csv --table KEY_specification. The answers go into the parts list.")),),)


def _quantity(line: Line | None) -> Cell:
    if line is None or line.quantity is None:
        return Cell("to count")
    return Cell(f"{line.quantity:.3g} {line.unit or 'pcs'}")

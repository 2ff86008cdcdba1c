"""The page for the emergency services."""

from __future__ import annotations

from packcalc.handover.responder import (
    LAYOUT_NOTE,
    ON_PAPER,
    VIEWS,
    Heading,
    responder_sheet,
)
from packcalc.handover.voltage_class import called
from packcalc.measured import Measured
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import column
from packcalc.report.document import Bullets, Cell, Document, Paragraph, Section, Table
from packcalc.report.frame import document
from packcalc.report.handover_blocks import appendix, chains, meta, subtitle

TITLE = "Emergency responder sheet"
SOURCES = ("iso-17840-3-2019", "iso-17840-2-2019", "fire-service-cut", "queensland-fire",
           "towing-storage-report")


def responder_document(study: ProtectionStudy, bench: Measured = Measured()) -> Document:
    """The page of `packcalc responder`; `bench`: what the sheet says of the pack as dealt."""
    sheet = responder_sheet(study, bench)
    columns = (column("heading", "What"), column("known", "Do and know", wide=True),
               column("blanks", "Builder fills in", wide=True))
    rows = tuple(_row(number, h) for number, h in enumerate(sheet.headings, start=1))
    views = tuple((Cell(name), Cell("photograph or drawing")) for name in VIEWS)
    first = Section("first", "For first and second responders", (
        Table("responder", called(study.pack).vehicle, columns, rows),
        Table("views", "Views, with the legend's numbers drawn in",
              (column("view", "View"), column("place", "Picture", wide=True)), views),
        Bullets(sheet.legend, "legend", ordered=True), Paragraph(ON_PAPER)))
    live = (Paragraph(f"Live ahead of the contactors: {'; '.join(sheet.live)}."),) \
        if sheet.live else ()
    after = Section("about", "About this page", (
        *live, Paragraph(LAYOUT_NOTE),
        Table("responder_sources", "What it rests on", (column("source", "Source"),),
              tuple((Cell(key),) for key in SOURCES))))
    # How modules were counted is no word for responders, and their page must stay one.
    head = tuple(line for line in meta(study) if line[0] != "counted_by_bench")
    return document(TITLE, subtitle(study),
                    (first, after, *appendix(chains("responder", sheet.chains))), head,
                    study.pack)


def _row(number: int, heading: Heading) -> tuple[Cell, ...]:
    return (Cell(f"{number} {heading.title}"), Cell(" ".join(heading.known) or "–"),
            Cell("\n".join(heading.lines) or "–"))

"""The frame of every document: version, cautions, deference."""

from __future__ import annotations

from packcalc import __version__
from packcalc.handover.voltage_class import called
from packcalc.pack import PackModel
from packcalc.report.cautions import CAUTIONS, DEFERENCE, SHORT, SHORT_CLASS_A
from packcalc.report.document import Document, Section


def document(title: str, subtitle: str, sections: tuple[Section, ...],
             meta: tuple[tuple[str, str, str], ...] = (),
             pack: PackModel | None = None) -> Document:
    """A document with the tool's version and every caution on it.

    Args:
        title, subtitle, sections, meta: as in the document.
        pack: the one pack that all of it is about; None where it is about none or several,
            which then counts as high voltage.
    """
    short = SHORT_CLASS_A if pack is not None and called(pack).class_a else SHORT
    return Document(title, subtitle, (("version", "packcalc", __version__), *meta), CAUTIONS,
                    DEFERENCE, sections, short)

"""The frame of every document: version, cautions, deference."""

from __future__ import annotations

from packcalc import __version__
from packcalc.report.cautions import CAUTIONS, DEFERENCE
from packcalc.report.document import Document, Section


def document(title: str, subtitle: str, sections: tuple[Section, ...],
             meta: tuple[tuple[str, str, str], ...] = ()) -> Document:
    """A document with the tool's version and every caution on it."""
    return Document(title, subtitle, (("version", "packcalc", __version__), *meta), CAUTIONS,
                    DEFERENCE, sections)

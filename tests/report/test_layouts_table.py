"""The layouts table says of each energy what it is. Every module is invented."""

from __future__ import annotations

from packcalc.api import list_layouts
from packcalc.bench.stored import TITLE, of_pack
from packcalc.pack import model_pack
from packcalc.report.layouts_report import layouts_document
from tests.briefs import asked


def test_the_lower_energy_is_not_headed_total() -> None:
    """What a worn pack holds stands below what a fire goes by, and its head must say which it is."""
    found = list_layouts(asked())
    table = next(t for t in layouts_document(found).tables() if t.key == "layouts")
    heads = {c.key: c.title for c in table.columns}
    assert "Total" not in " ".join(heads.values())
    assert heads["total_energy_kWh"].startswith("Held full, as worn")
    most = of_pack(found.brief, model_pack(found.brief, found.layout(0)))
    assert found.row(0)["total_energy"] < most.number
    words = table.note
    assert "no figure of hazard" in words and TITLE in words

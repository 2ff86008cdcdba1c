"""One voltage in both arcs; sources that hold what stands on them. All examples are invented."""

from __future__ import annotations

import pytest

from packcalc import sources
from packcalc.part_checks.touch import INLET_TIME, touch_lines
from tests.cases.studies import study

pytestmark = pytest.mark.thorough


@pytest.mark.parametrize("name", ["truck", "minibus", "faulty"])
def test_both_arcs_take_the_highest_working_voltage(name):
    """The worst arc took the voltage of full charge, the one beside it the highest."""
    found = study(name)
    arcs = [d for i in found.items for d in i.duty if "incident energy" in d.title]
    assert len(arcs) >= 2
    for arc in arcs:
        used = next(f for f in arc.inputs if f.unit == "V")
        assert used.number == found.pack.highest_voltage.number, arc.title


def test_the_rule_of_parting_cites_the_notice_that_holds_it():
    """It cited an entry that covers the border of 60 V alone."""
    entry = sources.source(INLET_TIME.source)
    assert "connector" in entry.title and "5.1.1.3" in entry.title
    assert "82 FR 44945" in entry.edition and "84 FR 44254" in entry.edition
    line = next(r for r in touch_lines() if r.what.startswith("charge inlet and every connector"))
    assert f"[{INLET_TIME.source}]" in line.why


@pytest.mark.parametrize("name", ["truck", "minibus"])
def test_a_cable_by_another_rule_set_says_whose_equation_lowers_it(name):
    """The listing named the standard of the table alone."""
    cables = [i for i in study(name).items if i.key.startswith("cable.")]
    assert cables and all(any("equation of NFPA 70 310.15(B)" in note for note in i.notes)
                          for i in cables)

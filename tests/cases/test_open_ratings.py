"""A rating or a load that nobody stated betters no verdict on what is stated. Invented examples."""

from __future__ import annotations

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from tests.cases.studies import study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough


def standing(found, name):
    chain = next(i for i in found.items if i.key == "overvoltage")
    return next(c for c in chain.checks if c.title.startswith(f"{name} rated for"))


@pytest.mark.parametrize("cable, rated, verdicts", [
    ("Vire_185", "", (NOT_EVALUATED, PASS)), ("Vire_185", "100 V", (FAIL, PASS)),
    ("Vire_25", "", (PASS, NOT_EVALUATED)), ("Vire_25", "100 V", (PASS, FAIL))])
def test_no_cable_is_held_by_the_rating_of_another(tmp_path, cable, rated, verdicts):
    # the traction cables once passed on what the sheet of the charge cable says
    found = study("truck", parts__file=listed(tmp_path, **{cable: {"rated_voltage_dc": rated}}))
    assert tuple(standing(found, f"{kind} cables").verdict
                 for kind in ("traction", "charging")) == verdicts


def test_an_open_load_answers_no_question_to_the_fuses_maker():
    # the conductor factor is as open as before, whatever a converter draws
    found = study("truck", branch={"DC/DC converter": {"power": "unknown"}})
    fuse = next(i for i in found.items if i.key == "main_fuse")
    window = next(c for c in fuse.checks if c.title.startswith("Rating window"))
    assert window.verdict == NOT_EVALUATED
    carries = [c for r in fuse.candidates for c in r.checks
               if c.title == "Carries the continuous load" and not r.own and c.verdict != FAIL]
    assert carries and all(c.verdict == NOT_EVALUATED and "factor C1" in c.reason for c in carries)

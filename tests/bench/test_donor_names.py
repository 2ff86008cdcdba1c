"""Which rows are of the brief's donor: by whole words and slips of the pen. Invented names."""

from __future__ import annotations

import pytest

from packcalc.bench.donor_past import _alike
from packcalc.checks import NOT_EVALUATED, PASS

from .rows import GOOD
from .test_donor_and_open import brief, history, lot


@pytest.mark.parametrize("own, same", [
    ("holin farm donor (invented)", True), ("hollin farm", True), ("farm", True),
    ("a", False), ("b", False), ("ormsby donor (invented)", False), ("donor (invented)", False)])
def test_names_are_alike_by_words_or_but_for_a_slip(own, same):
    # a letter that stands somewhere in the title made a match; one letter left out made none
    assert _alike(own, "hollin farm donor (invented)") is same


def test_names_of_other_figures_are_two():
    assert _alike("lorry 17 of the yard", "lorry 17 of the yarn")
    assert not _alike("lorry 17 of the yard", "lorry 18 of the yard")


@pytest.mark.parametrize("count, verdict", [(6, PASS), (7, NOT_EVALUATED)])
def test_a_donors_no_reaches_no_more_modules_than_it_held(count, verdict):
    # 36 rows of nobody's passed on what was said of a donor of 18
    blank = [{**GOOD, "mark": f"M{i}", "donor": "", "crash": "", "water": ""}
             for i in range(count)]
    assert history(lot(brief(crash="no", water="no"), *blank)).verdict == verdict

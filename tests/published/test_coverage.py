"""Every formula has a handbook-grade check or is a definition; no source is overworked."""

from __future__ import annotations

import collections
import importlib.util
from pathlib import Path

import pytest
from packcalc import catalogue
from packcalc.sources import source

FOLDER = Path(__file__).parent
MOST_CHECKS_PER_SOURCE = 5
HANDBOOK_GRADE = ("standard", "law", "paper", "book", "guide", "data")


def _printed():
    found = []
    for path in sorted(FOLDER.glob("test_*.py")):
        if path.name == Path(__file__).name:
            continue
        spec = importlib.util.spec_from_file_location(f"printed_{path.stem}", path)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        found += [*getattr(module, "PRINTED", [])]
    return found


PRINTED = _printed()


@pytest.mark.parametrize("name", sorted(catalogue.all_formulas()))
def test_every_formula_is_checked_or_a_definition(name):
    entry = catalogue.all_formulas()[name]
    if entry.basis == "definition":
        return
    grounds = [case for case in PRINTED if case.formula == name
               and source(case.source).kind in HANDBOOK_GRADE]
    assert grounds, f"{name} ({entry.basis}, {entry.source}) has no printed number to answer to"


def test_no_source_serves_more_than_five_checks():
    counts = collections.Counter(case.source for case in PRINTED)
    assert not {k: n for k, n in counts.items() if n > MOST_CHECKS_PER_SOURCE}


def test_every_check_names_a_registered_source_and_formula():
    for case in PRINTED:
        source(case.source)
        assert case.formula in catalogue.all_formulas()
        assert case.where
        assert 0 < case.tolerance <= 0.1 and case.reason, case


@pytest.mark.parametrize("name", sorted(catalogue.all_formulas()))
def test_every_formula_cites_a_registered_source(name):
    entry = catalogue.all_formulas()[name]
    if entry.source:
        source(entry.source)

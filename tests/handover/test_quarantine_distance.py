"""The distance of damaged modules stands with its source on every page that prints it.

At least 50 feet from any structure, vehicle or combustibles: Washington State Senate, bill
report SB 5909 (2024), quoting the national highway safety administration. 1 ft = 0.3048 m:
definition.
"""

from __future__ import annotations

import re

import pytest

from packcalc import api
from packcalc.bench.damage import APART
from packcalc.report.bench_report import teardown_document
from packcalc.report.citations import with_sources
from packcalc.report.maintain_report import maintain_document
from packcalc.report.markdown import render
from packcalc.report.responder_report import responder_document
from packcalc.sources import source
from tests.handover_cases import study_of

SOURCE = "towing-storage-report"
FIFTY_FEET = 50 * 0.3048  # m


def test_the_printed_distance_is_not_below_the_one_read():
    metres, feet = (float(x) for x in re.fullmatch(r"(\d+) m \((\d+) ft\)", APART).groups())
    assert feet == 50 and FIFTY_FEET <= metres < FIFTY_FEET + 1
    assert "50 feet" in source(SOURCE).seen


@pytest.mark.parametrize("make", [maintain_document, responder_document])
def test_a_page_of_the_handover_cites_it(make):
    words = render(with_sources(make(study_of())))
    assert APART in words and "SB 5909" in words


def test_the_teardown_sheet_cites_it():
    from packcalc.bench.teardown import teardown

    brief = api.read_brief("examples/truck/brief.toml")
    from dataclasses import replace

    donor = replace(brief.donor, crash="yes")
    words = render(with_sources(teardown_document(teardown(donor), brief)))
    assert APART in words and "SB 5909" in words

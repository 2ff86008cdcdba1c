"""Words that must follow the circuit at hand, and what is told of the bench's deal.

Every scenario is invented.
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from examples.regenerate import ROOT
from packcalc import api
from packcalc.cli_layout import bench_no
from packcalc.checks import FAIL, Check
from packcalc.decisions import decisions
from packcalc.handover.bill import bill
from packcalc.handover.certifier import certifier_file
from packcalc.measured import Measured
from packcalc.report.bill_report import bill_document
from packcalc.report.build_report import build_document
from packcalc.report.certify_report import certify_document
from packcalc.report.commission_report import commission_document
from packcalc.report.maintain_report import maintain_document
from packcalc.report.render import render
from packcalc.report.responder_report import responder_document
from packcalc.report.review_report import review_document
from tests.handover_cases import run
from tests.sized import example

EXAMPLES = ROOT / "examples"
PAGES = {"bill": bill_document, "build": build_document, "certify": certify_document,
         "commission": commission_document, "maintain": maintain_document}


def flat(document) -> str:
    return " ".join(render(document, "text").split())


# -- the pack as its modules are dealt ----------------------------------------------------------


SPREAD = Check("strings agree as dealt", "convenience", FAIL, reason="one string holds less")


@pytest.mark.parametrize("name", PAGES)
def test_a_pack_that_fails_as_dealt_says_so_in_its_first_lines(name: str) -> None:
    make, study = PAGES[name], example("van")
    lead, told = flat(make(study)), flat(make(study, bench=Measured(dealt=(SPREAD,))))
    assert SPREAD.title not in lead
    assert "As its modules are dealt" in told[:4000] and SPREAD.title in told[:4000]


@pytest.mark.parametrize("command", [*PAGES, "responder"])
def test_and_in_the_exit_code_as_in_that_of_the_report(command, tmp_path, monkeypatch) -> None:
    bench = Measured(dealt=(SPREAD,))
    monkeypatch.setattr(api, "size_protection", lambda *asked, **more: example("van"))
    monkeypatch.setattr(api, "bench_of", lambda study: bench)
    ran = run(command, str(EXAMPLES / "van" / "brief.toml"), "--out", str(tmp_path / "page.txt"))
    assert ran.code == 1
    assert ran.err.splitlines()[-1].startswith(f"the answer is no: {bench_no(bench)}")
    assert bench_no(bench) == "the pack as its modules are dealt fails: strings agree as dealt"
    monkeypatch.setattr(api, "bench_of", lambda study: Measured())
    again = run(command, str(EXAMPLES / "van" / "brief.toml"), "--out", str(tmp_path / "page.txt"))
    assert "dealt" not in again.err


# -- the circuit at hand ------------------------------------------------------------------------


def test_where_no_disconnect_stands_none_is_named() -> None:
    van = example("van")
    assert "To unplug later: the last link out first" in flat(commission_document(van))
    assert "To unplug later: plug of Q1 out first" in flat(commission_document(example("truck")))
    (labels,) = [b.what for b in bill(van) if b.key == "symbols"]
    assert "disconnect" not in labels and "cut-point labels" in labels


def test_a_charge_contactor_that_the_circuit_has_not_is_not_missed() -> None:
    known = {name: next(a.known for a in certifier_file(example(name)).answers
                        if a.asked.number == 9) for name in ("van", "minibus")}
    assert "charge contactor" not in known["van"].partition("not named: ")[2]
    assert example("van").brief.path.charge_contactor == "none"


def test_the_number_in_a_tag_is_explained() -> None:
    told = flat(commission_document(example("minibus")))
    assert "Q1.n, between module 6 and 7 in each string (n: its number)" in told
    assert "(n: its number)" not in flat(commission_document(example("truck")))


def test_strings_are_not_all_said_to_have_a_pre_charge_of_their_own() -> None:
    told = flat(build_document(example("minibus")))
    assert "their own pre-charge" not in told
    assert "one fills the bus through its pre-charge, each further one closes onto the bus" in told
    assert "at the difference and the charge that the file for review asks" in told


# -- what a page says of itself -----------------------------------------------------------------


def test_no_rule_set_reads_as_chosen_that_nobody_chose() -> None:
    none, chosen = (flat(review_document(example("truck"), rules=rules))
                    for rules in ("common core", "germany"))
    assert "No rule set was chosen" in none and "Rule set chosen" not in none
    assert "Rule set chosen: Germany" in chosen


def test_a_box_to_tick_stays_with_its_words() -> None:
    lines = render(review_document(example("truck")), "text").splitlines()
    assert not [line for line in lines if line.rstrip().endswith(("[", "[ ]"))]
    assert sum(line.count("[ ]") for line in lines) == 5 * len(decisions(example("truck")))
    assert max(map(len, lines)) <= 80


def test_how_modules_were_counted_is_no_word_for_responders() -> None:
    study = example("truck")
    held = json.loads(render(responder_document(study), "json"))["meta"]
    assert "counted_by_bench" not in held and held["input_digest"] == study.brief.digest
    assert replace(study).pack.highest_voltage.shown in flat(responder_document(study))

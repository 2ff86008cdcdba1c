"""What a reviewer sees behind a verdict, scanned over all four examples (invented).

No published number is checked here: the scan proves that each pass shows a figure beside its
demand, that each limit has a ground, and that the grounds stand in the list of sources.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, judge
from packcalc.findings import NEVER_A_GROUND, Finding, leaf
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import read_brief
from packcalc.report.citations import with_sources
from packcalc.report.compose import protection_document
from packcalc.report.csv_ import render as csv_of
from packcalc.report.data import as_dict
from packcalc.sources import register
from tests.briefs import without_parts

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
LAYOUTS = {"truck": ("", ""), "van": ("", ""), "minibus": ("12S2P", "strings"),
           "faulty": ("16S1P", "")}
OWN_ENTRY = ("given", "measured", "invented", "definition")
# Words with a number in them by their nature; every other column of candidates is a figure.
WORD_COLUMNS = ("candidate", "part", "verdict", "failed", "missing", "not_evaluated", "class",
                "remark", "as_table_section", "other_system_not_smaller", "opened_by_nobody",
                "Were_it_a_gG_link_indication_only_from_memory")


@pytest.fixture(scope="module")
def studies() -> dict[str, ProtectionStudy]:
    return {name: study_protection(read_brief(EXAMPLES / name / "brief.toml"), *asked)
            for name, asked in LAYOUTS.items()}


@pytest.fixture(scope="module")
def documents(studies) -> dict[str, dict]:
    return {name: as_dict(with_sources(protection_document(study)))
            for name, study in studies.items()}


def all_checks(study: ProtectionStudy) -> list[tuple[str, Check]]:
    held = list(study.checks)
    return held + [(f"{item.title}: {one.name}", c) for item in study.items
                   for one in item.candidates for c in one.checks]


def shows(check: Check) -> bool:
    return bool(check.relation and check.figure and check.demand and check.figure.known
                and check.demand.known)


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_verdict_shows_what_it_rests_on(studies, name):
    for where, check in all_checks(studies[name]):
        told = (where, check.title, check.verdict, check.reason)
        if check.verdict == PASS:
            assert shows(check), told
            assert check.figure.shown in check.sentence, told
        elif check.verdict == FAIL:  # what never ends has no figure: its demand and its reason
            assert shows(check) or (check.demand and check.demand.known
                                    and re.match("never|no ", check.reason)), told
        elif check.verdict == CAUTION:
            assert shows(check) or check.reason, told
        else:
            assert check.reason, told


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_limit_names_its_ground(studies, name):
    known = register()
    for where, check in all_checks(studies[name]):
        for figure in (check.figure, check.demand):
            for node in figure.leaves() if figure is not None and figure.known else ():
                told = (where, check.title, node.title, node.basis)
                assert not node.source or node.source in known and known[node.source].seen, told
                assert node.source or node.basis in (*OWN_ENTRY, "common practice"), told
                assert check.verdict != PASS or node.basis not in NEVER_A_GROUND, told


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_source_behind_a_limit_is_listed_with_how_it_was_seen(studies, documents, name):
    listed = {row["source"]: row["seen"] for row in documents[name]["sources"]}
    assert all(listed.values())
    for _, check in studies[name].checks:
        for key in re.findall(r"\[([a-z0-9-]+)[],]", check.sentence):
            assert key in listed, (check.title, key)
    assert {"iso-8820", "iso-19642"} <= set(listed)


def test_the_limits_of_gloves_and_of_the_direct_current_test_name_their_source(tmp_path):
    text = without_parts((EXAMPLES / "truck" / "brief.toml").read_text("utf-8"))
    (tmp_path / "brief.toml").write_text(text, "utf-8")
    study = study_protection(read_brief(tmp_path / "brief.toml"))
    named = {c.title: c.sentence for _, c in study.checks}
    # IEC 60947-4-1, DC-1: 1.0 ms in the making and breaking test.
    assert "asked at most 1.000 ms [iec-60947-4-1-contactors]" in named[
        "broken circuit is no more inductive than the DC-1 test"]
    # ASTM D120: class 00 up to 750 V DC.
    assert "750.0 V [astm-d120]" in named["rubber gloves exist for the highest working voltage"]


def test_a_bracket_says_how_weak_a_ground_is():
    def limit(basis: str, source: str = "") -> Finding:
        return leaf("limit", "x", "V", 2.0, basis, source=source)

    figure = leaf("figure", "x", "V", 1.0, "given")
    for basis, source, words in (("read", "astm-d120", "[astm-d120]"),
                                 ("assumed", "packcalc-rule", "[packcalc-rule, assumed]"),
                                 ("common practice", "", "[common practice]"), ("given", "", "")):
        check = judge("t", "convenience", figure, "at most", limit(basis, source))
        assert check.verdict == PASS
        assert check.sentence == f"1.000 V, asked at most 2.000 V {words}".rstrip()
    weak = judge("t", "convenience", figure, "at most", limit("remembered", "iso-8820"))
    assert weak.verdict == NOT_EVALUATED and "[iso-8820, remembered]" in weak.sentence


# -- tables of candidates ---------------------------------------------------------------------


@pytest.mark.parametrize("name", LAYOUTS)
def test_figures_of_candidates_are_numbers_under_keys_that_end_in_their_unit(documents, name):
    units = re.compile(r"_(A|V|W|J|s|ohm|mohm|degC|mm2|A2s|V_per_s)$")
    seen = set()
    for key, rows in documents[name].items():
        if not re.search(r"_(candidates|parts)$", key):
            continue
        for row in rows:
            for column, cell in row.items():
                if column in WORD_COLUMNS:
                    continue
                assert units.search(column), (key, column)
                assert cell is None or isinstance(cell, float), (key, column, cell)
                seen.add(column)
    assert {"rated_current_A", "continuous_current_A", "section_mm2", "resistance_ohm",
            "hot_loop_resistance_mohm", "energy_of_the_failed_tries_J"} <= seen


def test_a_page_keeps_its_words_and_the_data_a_number(studies):
    document = protection_document(studies["truck"])
    tables = {t.key: t for t in document.tables()}
    table = tables["main_fuse_parts"]
    at = [c.key for c in table.columns].index("rated_current_A")
    row = next(r for r in table.rows if r[0].text == "Talvik 400 full range")
    assert (row[at].text, row[at].value) == ("400.0 A", 400.0)
    line = next(line for line in csv_of(document, "main_fuse_parts").splitlines()
                if line.startswith("Talvik 400 full range"))
    assert "400.0" in line and "400.0 A" not in line.split('"')[0]
    # What never happens is said on the page and null in the data.
    table = next(t for t in protection_document(studies["faulty"]).tables()
                 if t.key == "precharge_parts")
    assert "never" in {cell.text for r in table.rows for cell in r}
    assert None in {r["time_to_the_level_slow_corner_s"] for r in as_dict(protection_document(
        studies["faulty"]))["precharge_parts"]}


def test_standing_first_is_said_plainly(documents):
    note = documents["truck"]["notes"]["main_fuse_first"]
    assert re.search(r"the first of the list above in which no check failed\. It has not passed: "
                     r"\d+ of its \d+ checks could not be evaluated", note)

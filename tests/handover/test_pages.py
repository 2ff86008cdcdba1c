"""Every page of the handover: cautions in every format, injection, exit codes, what it holds."""

from __future__ import annotations

import html
import json
import re

import pytest

from packcalc.checks import FAIL
from packcalc.door import FORMATS
from packcalc.handover.bill import bill
from packcalc.handover.build import PHOTOGRAPHS, build_sheet
from packcalc.handover.certifier import ASKED, CORE, RULE_SETS, all_clauses, certifier_file
from packcalc.handover.maintain import TASKS, maintenance
from packcalc.handover.responder import responder_sheet
from packcalc.report.bill_report import bill_document
from packcalc.report.build_report import build_document
from packcalc.report.cautions import CAUTIONS, DEFERENCE, SHORT
from packcalc.report.certify_report import certify_document
from packcalc.report.citations import sources_used
from packcalc.report.commission_report import commission_document, form
from packcalc.report.maintain_report import maintain_document
from packcalc.report.render import render
from packcalc.report.responder_report import responder_document
from packcalc.sources import register
from tests.cli.runner import NONE_FITS
from tests.handover_cases import HEAD, STRINGS, WITH_LINK, readings_of, run, study_of

PAGES = {"build": build_document, "commission": commission_document,
         "maintain": maintain_document, "certify": certify_document,
         "responder": responder_document, "bill": bill_document}
NASTY = '<script>alert(1)</script><img src=x onerror=alert(1)>'


@pytest.fixture
def files(tmp_path) -> dict[str, str]:
    readings = HEAD + "supply.voltage,48 V,M,2026-01-01,2026-11-24,A,\n"
    for name, text in {"brief.toml": WITH_LINK, "none.toml": NONE_FITS,
                       "readings.csv": readings}.items():
        (tmp_path / name).write_text(text, "utf-8")
    return {n: str(tmp_path / f"{n}.{e}") for n, e in
            (("brief", "toml"), ("none", "toml"), ("readings", "csv"), ("form", "csv"))}


def flat(text: str) -> str:
    bare = re.sub(r"(?m)^[#>] ?", "", re.sub(r"<[^>]+>", " ", text))
    return " ".join(html.unescape(bare).replace("\\", "").split())


@pytest.mark.parametrize("format_", FORMATS)
@pytest.mark.parametrize("page", PAGES)
def test_every_page_carries_cautions_and_deference(page, format_) -> None:
    seen = flat(render(PAGES[page](study_of()), format_))
    for words in (*CAUTIONS, DEFERENCE):
        assert words in seen, words
    if format_ in ("text", "markdown", "html"):
        assert SHORT in seen


@pytest.mark.parametrize("page", PAGES)
def test_text_pages_stay_within_eighty_columns(page) -> None:
    for line in render(PAGES[page](study_of()), "text").splitlines():
        assert len(line) <= 80, line


@pytest.mark.parametrize("page", PAGES)
def test_nothing_is_called_safe_or_approved(page) -> None:
    allowed = re.compile(r"safe[- ]side|errs safe|fail-?safe", re.IGNORECASE)
    seen = allowed.sub("", flat(render(PAGES[page](study_of()), "text")))
    for word in ("compliant", "approved", "certified", "is safe", "safely", "guarantee"):
        found = re.search(rf".{{40}}\b{word}\b.{{40}}", seen, re.IGNORECASE)
        assert not found, found.group(0)


@pytest.mark.parametrize("page", PAGES)
def test_every_source_is_registered_and_every_step_has_a_chain(page) -> None:
    document = PAGES[page](study_of())
    known = register()
    for item in sources_used(document):
        assert item.key in known, item.key
    assert document.chains()
    for chain in document.chains():
        assert chain.finding.leaves()


@pytest.mark.parametrize("page", PAGES)
def test_script_tags_in_the_brief_are_text(page) -> None:
    text = WITH_LINK.replace("scenario, invented", NASTY)
    seen = render(PAGES[page](study_of(text)), "html")
    assert NASTY not in seen and "&lt;script&gt;alert(1)" in seen


def test_script_tags_in_readings_are_text_in_every_format() -> None:
    study = study_of()
    file = readings_of(study, f'supply.voltage,61 V,"{NASTY}",2026-01-01,2026-11-24,"{NASTY}",'
                              f'"=cmd|{NASTY}"\n')
    document = commission_document(study, file)
    assert NASTY not in render(document, "html")
    assert "&lt;img src=x onerror" in render(document, "html")
    rows = json.loads(render(document, "json"))["readings"]
    assert rows[0]["name"] == NASTY and rows[0]["note"] == f"=cmd|{NASTY}"
    line = next(one for one in render(document, "csv", "readings").splitlines()
                if one.startswith("supply.voltage"))
    assert ",'=cmd|" in line


def test_form_is_what_the_reader_reads(files) -> None:
    from packcalc.handover.commission import plan_of
    from packcalc.reading.readings_file import readings_from_text

    study = study_of()
    text = form(study)
    assert all(" ".join(c.split()) in text for c in CAUTIONS)
    filled = text.replace("supply.voltage,,,,,,", "supply.voltage,48 V,M,,2026-11-24,A,")
    (one,) = readings_from_text(filled, plan_of(study).dimensions).readings
    assert one.id == "supply.voltage"


# --- commands --------------------------------------------------------------------------------


@pytest.mark.parametrize("command", PAGES)
def test_commands_print_and_end(files, command) -> None:
    ran = run(command, files["brief"], "--format", "json")
    assert ran.code in (0, 1) and json.loads(ran.out)["title"]
    assert run(command, files["none"]).code == 1
    assert "Example:" in run(command, "--help").out
    assert run(command, "no/such.toml").code == 2


def test_readings_out_of_band_answer_no(files, tmp_path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text(HEAD + "supply.voltage,70 V,M,,2026-11-24,A,\n", "utf-8")
    ran = run("commission", files["brief"], "--readings", str(bad))
    assert ran.code == 1 and "out of band: supply.voltage" in ran.err
    bad.write_text(HEAD + "supply.voltage,70 A,M,,2026-11-24,A,\n", "utf-8")
    ran = run("commission", files["brief"], "--readings", str(bad))
    assert ran.code == 2 and "is a current, not a voltage" in ran.err and ran.out == ""
    assert len(ran.lines) == 2


def test_a_form_is_written_once(files) -> None:
    assert run("commission", files["brief"], "--form", files["form"]).code == 0
    ran = run("commission", files["brief"], "--form", files["form"])
    assert ran.code == 2 and "may hold readings" in ran.err


def test_an_unknown_rule_set_suggests(files) -> None:
    ran = run("certify", files["brief"], "--rules", "new-zeland")
    assert ran.code == 2 and "did you mean 'new-zealand'?" in ran.err


def test_bill_as_one_csv_table(files) -> None:
    ran = run("bill", files["brief"], "--format", "csv", "--table", "bill")
    lines = [one for one in ran.out.splitlines() if not one.startswith("#")]
    assert lines[0].startswith("line,part,quantity,unit,demand")
    assert any(one.startswith("main_fuse,") for one in lines)


# --- what stands on them ---------------------------------------------------------------------


def test_build_sheet_closes_every_link_once_and_the_longest_chain_last() -> None:
    sheet = build_sheet(study_of())
    assert sorted(s.joint for s in sheet.steps[1:]) == list(range(1, 16))
    assert sheet.steps[-1].worst.run.steps == 16 and len(sheet.joints) == 15
    lengths = [s.worst.run.steps for s in sheet.steps]
    assert lengths == sorted(lengths)


def test_build_sheet_ends_with_the_disconnect() -> None:
    sheet = build_sheet(study_of(WITH_LINK + "[pack]\ndisconnect_after = 8\n"))
    assert sheet.steps[-1].joint == 8


def test_a_section_shows_the_sum_of_its_modules() -> None:
    sheet = build_sheet(study_of())
    one, two = (s.worst.expected for s in (sheet.steps[0], sheet.steps[1]))
    assert two == pytest.approx((2 * one[0], 2 * one[1]))


def test_as_built_has_a_line_for_every_module_and_the_signature_covers_it() -> None:
    sheet = build_sheet(study_of(STRINGS, "16S2P", "strings"))
    assert sum(p.id.startswith("module.") for p in sheet.parts) == 32
    assert len(sheet.joints) == 30 and sheet.stacks == 2
    seen = flat(render(build_document(study_of()), "text"))
    assert "Signatures cover this record" in seen and study_of().brief.digest in seen
    rows = json.loads(render(build_document(study_of()), "json"))["photographs"]
    assert [row["photograph"] for row in rows] == list(PHOTOGRAPHS)


def test_failing_designs_say_so_first() -> None:
    study = study_of(NONE_FITS, "18S1P")
    assert any(c.verdict == FAIL for _, c in study.checks) or study.miss
    assert "Do not build this yet" in flat(render(build_document(study), "text"))


def test_the_31_items_are_there_and_none_is_hidden() -> None:
    assert [a.number for a in ASKED] == list(range(1, 32))
    for rules in RULE_SETS:
        file = certifier_file(study_of(), rules)
        shown = {a.asked.number for a in file.answers}
        assert shown | {a.number for a in file.left_out} == set(range(1, 32))
        seen = flat(render(certify_document(study_of(), rules), "text"))
        assert all(a.title in seen for a in file.left_out)


def test_a_rule_set_brings_its_own_items_alone() -> None:
    core = {a.asked.number for a in certifier_file(study_of(), CORE).answers}
    maker = {a.asked.number for a in certifier_file(study_of(), "us-maker").answers}
    zealand = {a.asked.number for a in certifier_file(study_of(), "new-zealand").answers}
    assert maker - core == {27} and zealand - core == {2}


def test_only_what_was_read_is_printed_as_a_clause() -> None:
    assert {c.rules for c in all_clauses()} <= set(RULE_SETS)
    for rules in RULE_SETS:
        file = certifier_file(study_of(), rules)
        assert all(c.status == "read" for c in file.clauses)
        seen = flat(render(certify_document(study_of(), rules), "text"))
        for clause in file.second_hand:
            assert clause.subject in seen
            assert not clause.figure or len(clause.figure) < 6 or clause.figure not in seen


def test_blanks_stay_blank() -> None:
    file = certifier_file(study_of())
    blank = [a.asked.number for a in file.answers if a.state == "blank"]
    assert {5, 16, 20, 31} <= set(blank)
    assert all(a.known or a.figures for a in file.answers if a.state != "blank")


def test_sources_of_tasks_and_items_are_registered() -> None:
    keys = {t.source for t in TASKS} | {a.source for a in ASKED}
    assert keys - {""} <= set(register())


def test_maintenance_covers_the_events() -> None:
    plan = maintenance(study_of())
    assert [e.key for e in plan.events] == ["crash", "flood", "fuse", "storage", "module"]
    assert all(e.again and e.actions for e in plan.events)


def test_responder_headings_follow_the_scope_of_the_standard() -> None:
    titles = [h.title for h in responder_sheet(study_of()).headings]
    order = ["Immobilise", "Disable hazards", "Access to occupants", "Stored energy", "Fire",
             "Submersion", "Towing, transport, storage", "Additional information"]
    assert [t for t in titles if t in order] == order


def test_bill_counts() -> None:
    lines = {b.key: b for b in bill(study_of(STRINGS, "16S2P", "strings"))}
    assert lines["module.1"].quantity == 32 and lines["link"].quantity == 30
    assert lines["contactors"].quantity == 4
    assert {b.key: b for b in bill(study_of())}["contactors"].quantity == 2

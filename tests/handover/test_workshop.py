"""What a workshop asks: what is overdue today, whose old forms are whose, one truth on each page.

Every scenario is invented.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest

from packcalc import api
from packcalc.errors import InputErrors
from packcalc.handover.as_built import wanted
from packcalc.handover.bill import bill
from packcalc.handover.build import SENSE_FIRST, build_sheet
from packcalc.handover.commission import plan_of
from packcalc.handover.devices import CHARGE_CONTACTOR
from packcalc.handover.inside import TYPICAL_LINK
from packcalc.reading.as_built_file import as_built_from_text
from packcalc.reading.readings_file import Bound, readings_from_text
from packcalc.report.build_report import build_document, record_form
from packcalc.report.commission_report import (
    OVERDUE,
    asked,
    commission_document,
    counted_to,
    form,
)
from packcalc.report.data import as_dict
from packcalc.report.render import render
from packcalc.review import design_of, design_today, layout_of, named_before
from tests.cli.runner import GOOD
from tests.handover_cases import HEAD, WITH_LINK, run, study_of
from tests.sized import ROOT

WHOLE = ("build.joint_1,0.030 mΩ,M1,2026-01-01,2026-02-01,A. Invented,\n"
         "build.joint_1,0.033 mΩ,M1,2026-01-01,2026-05-01,A. Invented,\n")


def plain(document) -> str:
    return " ".join(render(document, "text").split())


# -- overdue today --------------------------------------------------------------------------------


@pytest.mark.parametrize(("day", "told"), [("", False), ("2026-07-27", False),
                                           ("2026-07-30", True), ("2027-02-01", True)])
def test_overdue_is_counted_to_the_day_that_is_named(day: str, told: bool) -> None:
    """A tenth in 89 days, at most a fifth (our rule): the straight line is there on day 178."""
    study = study_of()
    study = replace(study, study=replace(study.study, brief=replace(
        study.brief, date_of_issue="2026-01-15")))
    file = readings_from_text(HEAD + WHOLE, plan_of(study).dimensions)
    assert (OVERDUE in asked(study, file, day=day)) is told
    assert counted_to(study, file.readings, day) == (day or "2026-05-01")
    page = commission_document(study, file, day=day)
    assert ("reached its limit since it was read last: read again now" in plain(page)) is told
    assert as_dict(page)["meta"]["counted_to"] == (day or "2026-05-01")


def test_the_command_counts_to_today_unless_a_day_is_named(tmp_path) -> None:
    """By the clock of the tests it is 2026-12-31, see tests/conftest.py."""
    brief, readings = tmp_path / "brief.toml", tmp_path / "readings.csv"
    brief.write_text(WITH_LINK, "utf-8")
    readings.write_text(HEAD + WHOLE, "utf-8")
    out = tmp_path / "page.json"
    for more, day, told in (((), "2026-12-31", True), (("--date", "2026-06-01"), "2026-06-01",
                                                      False)):
        ran = run("commission", str(brief), "--layout", "16S1P", "--readings", str(readings),
                  "--out", str(out), *more)
        assert (OVERDUE in ran.err) is told, ran.err
        assert json.loads(out.read_text("utf-8"))["meta"]["counted_to"] == day


@pytest.mark.parametrize("day", ["24.11.2026", "2026-02-30", "20261124", "soon"])
def test_a_day_that_is_none_is_refused_in_one_line(tmp_path, day: str) -> None:
    brief = tmp_path / "brief.toml"
    brief.write_text(WITH_LINK, "utf-8")
    ran = run("commission", str(brief), "--date", day)
    assert ran.code == 2 and "is no day: write it like 2026-11-24" in ran.err


# -- old forms by a name of before ----------------------------------------------------------------


def titled(title: str):
    """The study under a title; without one, of a file in a folder."""
    study = study_of()
    brief = replace(study.brief, title=title, place="x/brief.toml")
    return replace(study, study=replace(study.study, brief=brief))


def bound(study) -> Bound:
    """As the command binds a file of readings."""
    own, before = design_of(study), named_before(study)
    now = own if design_today(before, study) == own else ""
    return Bound(own, layout_of(study), "2026-11-24", (before, now))


def named(text: str, design: str, **cells: str) -> str:
    """A form whose rows name their design as given, the first row filled."""
    head, *rows = [row for row in csv.reader(io.StringIO(text)) if not row[0].startswith("#")]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for row in rows:
        filled = cells if row is rows[0] else {}
        writer.writerow({**dict(zip(head, row)), **filled, "design": design}.values())
    return out.getvalue()


@pytest.mark.parametrize(("title", "old", "told"), [
    ("Bus für zwölf", "bus-f-r-zw-lf", True), ("Автобус", "untitled", False),
    ("電動バス 2", "2", False), ("", "brief", False)])
def test_readings_on_a_form_of_before_are_read(title: str, old: str, told: bool) -> None:
    """A name that others were called by as well binds nothing: it is read with a caution."""
    study = titled(title)
    text = named(form(study), old, value="0.05 mΩ", date="2026-11-20")
    file = readings_from_text(text, plan_of(study).dimensions, "r.csv", bound(study))
    assert len(file.readings) == 1 and file.design == (design_of(study) if told else "")
    page = plain(commission_document(study, file))
    assert ("does not say which design it belongs to" in page) is not told


@pytest.mark.parametrize("title", ["Автобус", "", "Bus für zwölf"])
def test_readings_of_another_design_are_refused_in_any_script(title: str) -> None:
    study, other = titled(title), titled("Фургон")
    text = named(form(study), design_of(other), value="0.05 mΩ", date="2026-11-20")
    with pytest.raises(InputErrors, match="is for the design"):
        readings_from_text(text, plan_of(study).dimensions, "r.csv", bound(study))


@pytest.mark.parametrize(("title", "old"), [
    ("Bus für zwölf", "bus-f-r-zw-lf"), ("Автобус", "untitled"), ("", "brief")])
def test_a_record_on_a_form_of_before_is_read_for_the_very_same_brief(title, old) -> None:
    study = titled(title)
    sheet = build_sheet(study)

    def read(text: str):
        return as_built_from_text(
            text, wanted(sheet), design_of(study), "b.csv", "2026-11-24",
            (layout_of(study), study.brief.digest),
            lambda design, begun: design_today(design, study, begun))

    cells = {"mark": "M1", "name": "A. Invented", "date": "2026-11-20"}
    text = named(record_form(study, {}), old, **cells)
    assert len(read(text).lines) == 1
    changed = text.replace(study.brief.digest, "k000000000000")
    if title.startswith("Bus"):  # no letter of another script was dropped
        assert len(read(changed).lines) == 1
        return
    with pytest.raises(InputErrors, match="is for the design"):
        read(changed)


# -- one truth ------------------------------------------------------------------------------------


def test_no_rule_of_sense_leads_stands_beside_a_stop_that_forbids_it() -> None:
    over = WITH_LINK.replace('sense_fuse = "yes"', 'sense_fuse = "yes"\nchannels_per_monitor = 30\n'
                             'monitor_order = "runs on across links"') \
        + "[pack]\nfuse_after = 8\ndisconnect_after = 8\n"
    page = plain(build_document(study_of(over)))
    assert SENSE_FIRST not in page and "monitor 2 reaches over the open place" in page
    assert "Until that is answered it stays open." in page
    assert SENSE_FIRST in plain(build_document(study_of(WITH_LINK)))


def test_the_limit_of_a_link_is_called_typical_wherever_it_is_held() -> None:
    study = study_of()
    assert TYPICAL_LINK in plain(build_document(study))
    plan = plan_of(study)
    links = [e for e in plan.expected() if e.id.startswith("build.joint_")]
    assert links and all(TYPICAL_LINK in e.how for e in links)
    assert TYPICAL_LINK in plain(commission_document(study))
    assert TYPICAL_LINK in form(study)
    grouped = study_of(GOOD.replace("count = 18", "count = 32"), "16S2P", "grouped")
    assert TYPICAL_LINK in plain(build_document(grouped))


def test_a_charge_contactor_carries_what_its_branch_does(tmp_path):
    """48 A by the station, 90 A by the inlet's own entry (invented): bill and build say 90 A."""
    text = (ROOT / "examples/minibus/brief.toml").read_text("utf-8")
    head, inlet = text.split('kind = "fast-charge inlet"')
    text = head + 'kind = "fast-charge inlet"' + inlet.replace('"48 A"', '"90 A"', 1)
    (tmp_path / "brief.toml").write_text(
        text.replace("../parts.csv", str(ROOT / "examples/parts.csv")).replace(
            '"bench.csv"', f'"{ROOT / "examples/minibus/bench.csv"}"'), "utf-8")
    study = api.size_protection(api.read_brief(tmp_path / "brief.toml"))
    (bought,) = [line for line in bill(study) if line.key == "charge_contactors"]
    built = [p for p in build_sheet(study).parts if p.id.startswith(CHARGE_CONTACTOR)]
    assert "carries: 90.00 A at" in bought.demand and "and 90.00 A charging" in bought.demand
    assert built and all("carries 90.00 A, breaks" in part.design for part in built)

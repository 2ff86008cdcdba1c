"""Monitors that measure their joints, or of which nobody says which cells they hold.

All demo data invented. A joint that is measured takes a channel: counting, a definition.
"""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from examples.regenerate import ROOT
from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.findings import leaf
from packcalc.handover.commission import design_stops, plan_of
from packcalc.handover.maintain import maintenance
from packcalc.handover.parted import DIVISION_OPEN
from packcalc.handover.responder import FAILS, responder_sheet
from packcalc.monitoring import LINKS_MEASURED, RESTARTS, RUNS_ON, divide, monitors_needed
from packcalc.part_checks.limits import ManagementAsked
from packcalc.part_checks.management import system_checks
from packcalc.parts import MANAGEMENT
from packcalc.protect.management import specify_management
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.maintain_report import maintain_document
from packcalc.report.management_report import monitors_table
from packcalc.report.render import render
from packcalc.value import replace
from tests.cases.studies import study

MEASURED = {"management__channels_per_monitor": 8, "management__monitor_order": LINKS_MEASURED}
OPEN = {"management__channels_per_monitor": "unknown", "management__monitor_order": "unknown",
        "parts__management_system": None}


# -- a joint that is measured takes a channel ------------------------------------------------------

@pytest.mark.parametrize(("cells", "channels", "after", "number", "first", "last"), [
    # before its own channel: 8·6 + 7 = 55, monitor 7 has 49 to 56
    ((6,) * 16, 8, 8, 7, 43, 48), ((6,) * 16, 12, 8, 5, 43, 52),
    ((6,) * 16, 11, 8, 6, 49, 57),     # the first channel of its monitor: across it all the same
    ((8,) * 5, 16, 2, 2, 16, 29),      # 2·8 + 1 = 17 before it
    ((16,) * 12, 12, 6, 9, 92, 102),   # 6·16 + 5 = 101 before it
    ((16,) * 12, 24, 6, 5, 92, 113)])
def test_a_measured_disconnect_lies_across_the_monitor_of_its_channel(
        cells, channels, after, number, first, last):
    found = divide(cells, channels, LINKS_MEASURED, {after: "disconnect"})
    (across,) = [n for n, m in enumerate(found, start=1) if m.spans]
    assert across == number
    assert (found[across - 1].first, found[across - 1].last) == (first, last)


@pytest.mark.parametrize("channels", [1, 5, 6, 7, 8, 11, 12, 24, 111, 400])
def test_monitors_as_divided_are_those_that_are_counted(channels):
    cells = (6,) * 16
    for order, joints in ((RESTARTS, 0), (RUNS_ON, 0), (LINKS_MEASURED, 15)):
        found = divide(cells, channels, order, {})
        assert len(found) == monitors_needed(cells, channels, order)
        assert sum(m.joints for m in found) == joints
        assert sum(m.last - m.first + 1 for m in found) == 96
        assert all(m.last - m.first + 1 + m.joints <= channels for m in found)
        held = [k for m in found for k in m.over]
        assert held == sorted(set(held)) if order == LINKS_MEASURED else True
    assert held == list(range(1, 16))


def test_a_monitor_of_a_joint_alone_holds_no_cell():
    (alone,) = [m for m in divide((2, 2), 1, LINKS_MEASURED, {1: "link"}) if m.joints]
    assert alone.shown == "no cell" and alone.spans == ("link after module 1",)


def test_such_a_disconnect_fails_stops_and_isolates_nothing() -> None:
    found = study("truck", **MEASURED)
    managed, whole = found.circuit.management, found.pack.highest_voltage.shown
    for words in ("across the service disconnect", "across a fuse"):
        (check,) = [c for c in managed.item.checks if words in c.title]
        assert check.verdict == FAIL and "cells 43 to 48 across" in check.reason
        assert "a channel of its own" in check.reason
    table = monitors_table(managed)
    assert [c.key for c in table.columns] == [
        "monitor", "first_cell", "last_cell", "joints", "across"]
    assert [c.data for c in table.rows[6][:4]] == [7, 43, 48, 2]
    assert [words for _, words in design_stops(found) if "monitor 7 reaches over" in words]
    said = " ".join(responder_sheet(found).headings[2].known)
    assert "This isolates" not in said and "does NOT isolate" in said
    assert f"sense wires, up to {whole}" in said and "in each part" not in said
    assert any(f"sense wires (at all times, up to {whole})" == one
               for one in responder_sheet(found).live)
    ahead = maintenance(found).ahead
    assert "monitor 7" in ahead and f"up to {whole}" in ahead and "in each part" not in ahead
    warm = next(s for s in plan_of(found).stages if s.key == "warm")
    cover = next(step for step in warm.steps if "need the cover off" in step)
    assert cover.index("sense leads of monitor 7") < cover.index("disconnect Q1 out")
    page = " ".join(render(maintain_document(found), "text").split())
    first = page[page.index("Opening the box"):][:250]
    assert first.index("sense leads of monitor 7") < first.index("disconnect Q1 out")


def test_a_division_that_nobody_told_isolates_nothing_that_is_known() -> None:
    found = study("truck", **OPEN)
    whole = found.pack.highest_voltage.shown
    said = " ".join(responder_sheet(found).headings[2].known)
    assert "This isolates" not in said and "is not known: do not count on this" in said
    assert f"sense wires, up to {whole}" in said and "in each part" not in said
    assert "is not known" in maintenance(found).ahead
    stages = {s.key: " ".join(s.steps) for s in plan_of(found).stages}
    assert "cover off: mains open, sense leads that reach over the place out first" in \
        stages["warm"]
    assert DIVISION_OPEN in stages["sense"]


def test_a_named_division_that_parts_there_still_isolates() -> None:
    said = " ".join(responder_sheet(study("truck")).headings[2].known)
    assert "This isolates" in said and "in each part" in said


def test_the_faulty_example_isolates_nothing_and_its_page_tells_that_checks_fail() -> None:
    # a part of at most 9·25.96 V = 233.6 V is not all that the wires have between them
    sheet = responder_sheet(study("faulty"))
    said = " ".join(sheet.headings[2].known)
    assert "does NOT isolate" in said and "sense wires, up to 489.2 V, and all inside" in said
    assert FAILS in sheet.headings[0].known
    assert FAILS not in responder_sheet(study("truck")).headings[0].known


# -- the sheet of requests asks what the checks hold against ---------------------------------------

def asked(**own: Any) -> ManagementAsked:
    """The minibus's management with entries changed; nothing is sized anew."""
    found = study("minibus")
    place = ROOT / "examples" / "minibus" / "brief.toml"
    data = tomllib.loads(place.read_text("utf-8"))
    data["management"] |= own
    return ManagementAsked(brief_from_data(data, str(place)), found.pack, found.faults.lowest,
                           found.faults.highest, leaf("fuse takes over", "I", "A", 1100.0, "given"))


def lines(of: ManagementAsked) -> dict[str, str]:
    return {r.what: r.value for r in specify_management(of).item.specification}


def held(of: ManagementAsked, **figures: Any) -> dict[str, Any]:
    part = of.brief.parts.list.part(MANAGEMENT, "Vakt 16 high voltage")
    return {c.title: c for c in system_checks(replace(part, **figures), of)}


def test_each_line_of_the_sheet_is_the_demand_of_its_check() -> None:
    of = asked()
    sheet, checks = lines(of), held(of)
    for line, title in (
            ("cell side: rated voltage", "cell side bears the highest working voltage"),
            ("cell voltage that a channel measures", "measures the lowest cell that a trip must "
             "see"),
            ("cell voltage that a channel measures", "measures the highest cell that a trip must "
             "see"),
            ("current sensor: range, both directions", "its current sensor reaches as far as the "
             "trips count on"),
            ("current sensor: error", "its current sensor errs no more than the trips count on"),
            ("temperature sensors", "reads as many temperatures as the brief counts"),
            ("balance current", "balances with the current that the brief counts")):
        assert checks[title].demand.shown in sheet[line], line
    assert "1500 A" in sheet["current sensor: range, both directions"]
    assert sheet["current sensor: error"].startswith("at most 15.00 A")  # 1 % of 1500 A
    assert sheet["each string's current sensor"] == "range at least 1500 A, error at most 15.00 A"
    assert sheet["temperature sensors"] == "at least 120"  # of the brief; 30 % of 384 are 116


def test_a_wide_sensor_of_the_same_share_meets_neither_sheet_nor_check() -> None:
    wide = held(asked(), sensor_range=leaf("range", "I_r", "A", 5000.0, "given"),
                sensor_error=leaf("error", "e", "%", 0.01, "given"))
    check = wide["its current sensor errs no more than the trips count on"]
    assert check.verdict == FAIL and check.figure.number == 50.0


def test_a_range_too_small_in_the_brief_is_not_what_is_asked() -> None:
    of = asked(current_sensor_range="900 A")  # the fuse takes over at 1100 A
    check = held(of)["its current sensor reaches as far as the trips count on"]
    assert check.demand.number == pytest.approx(1100.0)
    assert "1100 A" in lines(of)["current sensor: range, both directions"]


def test_balance_current_is_asked_by_the_spread_where_the_brief_counts_none() -> None:
    line = lines(asked(balance_current="unknown"))["balance current"]
    assert line == "at least 1.042 mA as a mean over all hours"
    assert held(asked(balance_current="unknown"))[
        "balances with the current that the brief counts"].verdict == NOT_EVALUATED


def test_the_sheet_asks_no_fewer_monitors_than_the_check() -> None:
    # 12 modules of 16 cells with 11 joints are 203 channels: 13 monitors of 16 in each of 2 strings
    of = asked(monitor_order=LINKS_MEASURED)
    assert lines(of)["monitors of 16 channels"] == "26"
    assert held(of)["has a channel for every cell"].demand.number == 26 * 16

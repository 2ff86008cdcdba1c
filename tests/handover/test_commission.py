"""Stages and gates in order; outliers and trends at their break points."""

from __future__ import annotations

import json

import pytest

from packcalc.errors import InputErrors
from packcalc.handover import readings as rd
from packcalc.handover.anew import declared_anew
from packcalc.handover.commission import ORDER, plan_of
from packcalc.handover.figures import SUPPLY
from packcalc.handover.readings import joint_limit
from packcalc.handover.trend_rules import RULES
from packcalc.reading.readings_file import readings_from_text, readings_text
from packcalc.report.commission_report import answer, asked, commission_document, form
from packcalc.report.render import render
from tests.handover_cases import HEAD, STRINGS, WITH_LINK, readings_of, study_of

# With every source of its highest working voltage known: else no isolation reading holds.
WHOLE = WITH_LINK.replace('power = "20 kW"\n', 'power = "20 kW"\nvoltage_limit = "430 V"\n') \
    .replace("[power]\n", 'overvoltage_reaction = "0.3 ms"\n[power]\n') + \
    '[charger]\nvoltage_range = "200 V to 420 V"\ntolerance = "1 %"\n' \
    '[motor]\nback_voltage = "310 V"\n'
# The sense leads go in before the string is whole: a stage of its own.
STAGES = ["build", "dead", "logic", "supply", "monitor", "section", "sense", "pack", "weld",
          "charge", "wheels", "limited", "warm", "retorque"]


def joints(*milliohms: float, date: str = "2026-11-24") -> str:
    return "".join(f"build.joint_{k},{r:.6f} mΩ,M1,2026-01-01,{date},A. Tester,\n"
                   for k, r in enumerate(milliohms, start=1))


def all_in_band(study, date: str = "2026-11-24") -> str:
    """A row in the middle of each band."""
    rows = []
    for e in plan_of(study).expected():
        if e.dimension == "words":
            text = "yes"
        else:
            known = [x.number for x in e.edges]
            value = sum(known) / len(known) if known else 1.0
            if e.id == "supply.voltage":
                value = SUPPLY.number  # which the bands of the currents are counted for
            if e.id.startswith("build.joint_"):
                value *= 0.9
            text = _text(value, e.dimension)
        rows.append(f"{e.id},{text},M1,2026-01-01,{date},A. Tester,\n")
    return "".join(rows)


def _text(value: float, dimension: str) -> str:
    unit = {"resistance": "ohm", "ratio": "%", "temperature": "degC", "time": "s", "voltage": "V",
            "current": "A", "capacitance": "F", "temperature difference": "K"}[dimension]
    shown = {"ratio": 100 * value, "temperature": value - 273.15}.get(dimension, value)
    return f"{shown:.12f} {unit}"


def test_stages_stand_in_the_order_of_what_can_kill() -> None:
    plan = plan_of(study_of())
    assert [s.key for s in plan.stages] == STAGES and len(ORDER) == len(STAGES)
    for stage in plan.stages:
        assert stage.gate and stage.steps and stage.live
        # what is closed on the day keeps the id that the build sheet gives it
        assert all(e.id.startswith((f"{stage.key}.", "build.") if stage.key == "pack" else
                                   f"{stage.key}.") for e in stage.expected)


def test_under_sixty_volts_before_the_first_section() -> None:
    plan = plan_of(study_of())
    order = [s.key for s in plan.stages]
    assert order.index("supply") < order.index("section") < order.index("pack")
    assert plan.reading("supply.voltage").high.number == 60.0


def test_ids_are_stable_and_unique_for_strings() -> None:
    ids = [e.id for e in plan_of(study_of(STRINGS, "16S2P", "strings")).expected()]
    assert "build.joint_1_1" in ids and "build.joint_2_15" in ids
    assert len(set(ids)) == len(ids)


def test_a_gate_stays_shut_until_all_before_it_hold() -> None:
    study = study_of(WHOLE)
    rows = all_in_band(study)
    assert all(g.open for g in rd.gates(plan_of(study), readings_of(study, rows).readings))
    without = "".join(r + "\n" for r in rows.splitlines() if not r.startswith("logic.order"))
    gates = rd.gates(plan_of(study), readings_of(study, without).readings)
    assert [g.open for g in gates] == [True, True] + [False] * 12
    assert gates[2].why == ("logic.order not read",)
    assert gates[3].why == () and gates[3].earlier == "Logic on 12 V"


def test_nothing_read_leaves_the_first_gate_shut() -> None:
    gates = rd.gates(plan_of(study_of()), ())
    assert not any(g.open for g in gates)


def test_a_no_shuts_its_gate_and_says_what_it_suggests() -> None:
    study = study_of()
    rows = all_in_band(study).replace("logic.supply_lost,yes", "logic.supply_lost,no")
    found = {c.expected.id: c for g in rd.gates(plan_of(study), readings_of(study, rows).readings)
             for c in g.compared}["logic.supply_lost"]
    assert found.verdict == rd.NO and "held from elsewhere" in found.suggests and not found.holds


@pytest.mark.parametrize(("value", "verdict"), [
    (59.999, rd.IN_BAND), (60.0, rd.IN_BAND), (60.001, rd.ABOVE)])
def test_band_on_below_and_above_its_upper_end(value, verdict) -> None:
    study = study_of()
    expected = plan_of(study).reading("supply.voltage")
    rows = f"supply.voltage,{value} V,M,2026-01-01,2026-11-24,A,\n"
    assert rd.compare(expected, readings_of(study, rows).readings).verdict == verdict


@pytest.mark.parametrize(("factor", "verdict"), [
    (0.999, rd.BELOW), (1.0, rd.IN_BAND), (1.001, rd.IN_BAND)])
def test_band_on_below_and_above_its_lower_end(factor, verdict) -> None:
    study = study_of(WHOLE)
    expected = plan_of(study).reading("dead.isolation_positive")
    ohms = expected.low.number * factor
    rows = f"dead.isolation_positive,{ohms:.9f} ohm,M,2026-01-01,2026-11-24,A,\n"
    compared = rd.compare(expected, readings_of(study, rows).readings)
    assert compared.verdict == verdict
    assert bool(compared.suggests) == (verdict == rd.BELOW)


def test_a_reading_without_a_band_becomes_the_baseline() -> None:
    study = study_of()
    expected = plan_of(study).reading("warm.air")
    rows = "warm.air,21 degC,M,2026-01-01,2026-11-24,A,\n"
    assert rd.compare(expected, readings_of(study, rows).readings).verdict == rd.NO_BAND


def test_the_latest_reading_counts() -> None:
    study = study_of()
    rows = ("supply.voltage,61 V,M,2026-01-01,2026-11-24,A,\n"
            "supply.voltage,48 V,M,2026-01-01,2026-11-25,A,\n")
    expected = plan_of(study).reading("supply.voltage")
    assert rd.compare(expected, readings_of(study, rows).readings).verdict == rd.IN_BAND


@pytest.mark.parametrize(("calibrated", "words"), [
    ("2025-11-23", ""), ("2025-11-22", "367 days old")])
def test_calibration_is_asked_about(calibrated, words) -> None:
    study = study_of()
    rows = f"supply.voltage,48 V,M,{calibrated},2026-11-24,A,\n"
    compared = rd.compare(plan_of(study).reading("supply.voltage"),
                          readings_of(study, rows).readings)
    assert words in "; ".join(compared.questions) and bool(words) == bool(compared.questions)


# --- outliers --------------------------------------------------------------------------------


def test_limit_of_the_modified_score_by_hand() -> None:
    # median 50, distances 2 1 0 1 2: median distance 1; 50 + 3.5·1/0.6745 = 55.189 < 75
    assert joint_limit([48e-6, 49e-6, 50e-6, 51e-6, 52e-6]).number == pytest.approx(
        50e-6 + 3.5 * 1e-6 / 0.6745)


def test_a_wide_scatter_is_held_by_half_above_the_median() -> None:
    # median distance 20: the score alone would allow 153.8
    assert joint_limit([10e-6, 30e-6, 50e-6, 70e-6, 90e-6]).number == pytest.approx(75e-6)


def test_equal_readings_have_no_scale_and_the_factor_stands_alone() -> None:
    assert joint_limit([50e-6] * 5).number == pytest.approx(75e-6)


def test_four_joints_are_too_few() -> None:
    assert joint_limit([50e-6] * 4) is None
    assert joint_limit([50e-6] * 5) is not None


@pytest.mark.parametrize(("milliohms", "found"), [
    (0.0551890, []), (0.0551891, []), (0.055190, ["build.joint_6"])])
def test_joint_on_below_and_above_the_limit(milliohms, found) -> None:
    # six readings: 48 49 50 51 52 and x: median 50.5, distances 2.5 1.5 .5 .5 1.5 x: median 1.5
    limit = 50.5 + 3.5 * 1.5 / 0.6745  # 58.284
    study = study_of()
    value = {0.0551890: limit - 0.001, 0.0551891: limit, 0.055190: limit + 0.001}[milliohms] / 1e3
    file = readings_of(study, "".join(
        f"build.joint_{k},{r:.15f} mΩ,M,2026-01-01,2026-11-24,A,\n"
        for k, r in enumerate([0.048, 0.049, 0.050, 0.051, 0.052, value], start=1)))
    assert [o.id for o in rd.joint_outliers(plan_of(study), file.readings)] == found


def test_an_outlier_shuts_the_gate_of_the_build_sheet() -> None:
    study = study_of()
    rows = all_in_band(study)
    kept = "".join(r + "\n" for r in rows.splitlines() if not r.startswith("build."))
    file = readings_of(study, kept + joints(*[0.05] * 14, 0.08))
    gate = rd.gates(plan_of(study), file.readings)[0]
    assert "build.joint_15 stands out from its like" in gate.why
    assert "build.joint_15" in answer(study, file)


# --- trend -----------------------------------------------------------------------------------


def trend_of(rows: str):
    study = study_of()
    return rd.trends(plan_of(study), readings_of(study, rows).readings)


@pytest.mark.parametrize(("latest", "verdict"), [
    ("0.0599 mΩ", "pass"), ("0.06 mΩ", "pass"), ("0.0601 mΩ", "fail")])
def test_joint_trend_on_below_and_above_twenty_per_cent(latest, verdict) -> None:
    (found,) = trend_of(f"build.joint_1,0.05 mΩ,M,,2026-11-24,A,\n"
                        f"build.joint_1,{latest},M,,2027-11-24,A,\n")
    assert found.check.verdict == verdict and found.days == 365


@pytest.mark.parametrize(("latest", "verdict"), [
    ("500.1 kΩ", "pass"), ("500 kΩ", "pass"), ("499.9 kΩ", "fail"), ("5 MΩ", "pass")])
def test_isolation_may_rise_but_not_fall_by_half(latest, verdict) -> None:
    (found,) = trend_of("pack.isolation_positive,1000 kΩ,M,,2026-11-24,A,\n"
                        f"pack.isolation_positive,{latest},M,,2027-02-24,A,\n")
    assert found.check.verdict == verdict


def test_straight_line_names_the_day() -> None:
    # +10 % in 100 days, limit 20 %: another 100 days
    (found,) = trend_of("build.joint_1,0.050 mΩ,M,,2026-01-01,A,\n"
                        "build.joint_1,0.055 mΩ,M,,2026-04-11,A,\n")
    assert found.until in ("2026-07-19", "2026-07-20")
    assert found.ahead.number == pytest.approx(100.0)


def test_no_day_is_named_beyond_the_limit_or_the_other_way() -> None:
    for latest in ("0.070 mΩ", "0.045 mΩ", "0.050 mΩ"):
        (found,) = trend_of("build.joint_1,0.050 mΩ,M,,2026-01-01,A,\n"
                            f"build.joint_1,{latest},M,,2026-04-11,A,\n")
        assert found.until == ""


def test_baseline_is_the_last_reading_up_to_the_second_torque() -> None:
    (found,) = trend_of("build.joint_1,0.080 mΩ,M,,2026-01-01,A,\n"
                        "build.joint_1,0.050 mΩ,M,,2026-02-01,A,\n"
                        "retorque.marks,yes,M,,2026-02-01,A,\n"
                        "retorque.marks,yes,M,,2027-02-01,A,\n"
                        "build.joint_1,0.055 mΩ,M,,2027-02-01,A,\n")
    assert found.baseline.date == "2026-02-01" and len(found.series) == 3


def test_a_zero_baseline_is_not_evaluated() -> None:
    (found,) = trend_of("charge.cell_spread,0 mV,M,,2026-01-01,A,\n"
                        "charge.cell_spread,5 mV,M,,2026-04-11,A,\n")
    assert found.check.verdict == "not evaluated" and found.change is None


def test_every_rule_belongs_to_a_reading() -> None:
    grouped, inside = study_of(layout="8S2P", arrangement="grouped"), \
        study_of(WITH_LINK + "[pack]\nfuse_after = 8\n")
    cut = study_of(WITH_LINK + '[path]\ncharge_contactor = "one pole"\n')
    ids = [e.id for s in (study_of(), grouped, inside, cut) for e in plan_of(s).expected()]
    for rule in RULES:
        assert any(name.startswith(rule.prefix) for name in ids), rule.prefix
        assert rule.rise or rule.fall


def test_the_page_without_and_with_readings_has_the_same_stages() -> None:
    study = study_of(WHOLE)
    empty = commission_document(study)
    full = commission_document(study, readings_of(study, all_in_band(study)))
    keys = [s.key for s in empty.sections]
    assert [k for k in keys if k in STAGES] == STAGES
    assert [s.key for s in full.sections if s.key in STAGES] == STAGES
    assert answer(study, readings_of(study, all_in_band(study))) == ""


# --- a baseline that is none -----------------------------------------------------------------


@pytest.mark.parametrize(("name", "slip", "true"), [
    ("build.joint_1", "0.0317 MΩ", "0.0330 mΩ"), ("build.joint_1", "0.0317 µΩ", "0.0330 mΩ"),
    ("dead.isolation_positive", "5.1 kΩ", "4.4 MΩ")])
def test_a_baseline_in_the_wrong_unit_is_no_baseline(name, slip, true) -> None:
    study = study_of()
    file = readings_of(study, f"{name},{slip},M1,2026-01-01,2026-05-02,A,\n"
                              f"{name},{true},M1,2026-01-01,2026-11-14,A,\n")
    (line,) = rd.trends(plan_of(study), file.readings)
    assert (line.check.verdict, line.check.reason) == ("not evaluated", "baseline out of band")
    assert line.change is None and line.until == ""
    named = f"baseline out of band, look at value and unit: {name} ({slip} on 2026-05-02)"
    assert named in answer(study, file)
    page = " ".join(render(commission_document(study, file), "text").split())
    assert named[1:] in page and "not evaluated: baseline out of band" in page


def test_a_joint_whose_baseline_stands_out_from_its_like_is_not_judged_by_it() -> None:
    # in band, and half as much again as its like: the limit of joint_limit
    file = readings_of(study_of(), joints(0.03, 0.03, 0.03, 0.03, 0.03, 0.0451, date="2026-01-01")
                       + joints(0.03, 0.03, 0.03, 0.03, 0.03, 0.03, date="2026-11-24"))
    *even, apart = rd.trends(plan_of(study_of()), file.readings)
    assert apart.check.reason == "baseline stands out from its like" == apart.off
    assert "build.joint_6 (0.045100 mΩ on 2026-01-01)" in answer(study_of(), file)
    assert len(even) == 5 and all(t.check.verdict == "pass" and not t.off for t in even)


# --- a baseline declared after a repair ------------------------------------------------------

WIDE = HEAD.strip() + ",baseline\n"
OLD = ("build.joint_1,0.030 mΩ,M1,2026-01-01,2026-02-01,A,,\n"
       "build.joint_2,0.030 mΩ,M1,2026-01-01,2026-02-01,A,,\n"
       "build.joint_1,0.045 mΩ,M1,2026-01-01,2026-11-01,A,,\n"
       "build.joint_2,0.045 mΩ,M1,2026-01-01,2026-11-01,A,,\n")
MENDED = "build.joint_1,0.028 mΩ,M1,2026-01-01,2026-11-01,B. Invented,link replaced,yes\n"
LATER = ("build.joint_1,0.029 mΩ,M1,2026-01-01,2027-02-01,A,,\n"
         "build.joint_2,0.045 mΩ,M1,2026-01-01,2027-02-01,A,,\n")


def declared(rows: str):
    study = study_of()
    return study, readings_from_text(WIDE + rows, plan_of(study).dimensions)


def test_after_a_repair_the_trend_starts_anew_for_the_touched_reading_alone() -> None:
    study, file = declared(OLD + MENDED + LATER)
    mended, other = rd.trends(plan_of(study), file.readings)
    assert (mended.baseline.text, mended.check.verdict) == ("0.028 mΩ", "pass")
    assert mended.days == 92 and len(mended.series) == 4
    assert (other.baseline.text, other.check.verdict) == ("0.030 mΩ", "fail")
    said = answer(study, file)
    assert "moved too far from the baseline: build.joint_2" in said and "joint_1" not in said
    page = " ".join(render(commission_document(study, file), "markdown").split())
    assert "0.028 mΩ, 2026-11-01, declared anew; before: 0.030 mΩ, 2026-02-01" in page
    assert "Baselines declared anew after a repair" in page and "link replaced" in page


def test_until_it_is_read_again_a_declared_baseline_stands_beside_the_one_before() -> None:
    study, file = declared(OLD + MENDED)
    (other,) = rd.trends(plan_of(study), file.readings)
    assert other.expected.id == "build.joint_2"
    (one,) = declared_anew(plan_of(study), file.readings)
    assert (one.before.text, one.last.text, one.now.text) == ("0.030 mΩ", "0.045 mΩ", "0.028 mΩ")
    assert not one.worse and one.change.number == pytest.approx(0.028 / 0.030 - 1)
    rows = json.loads(render(commission_document(study, file), "json"))["baselines_anew"]
    assert [r["id"] for r in rows] == ["build.joint_1"] and rows[0]["note"] == "link replaced"
    assert asked(study, file) == ""


@pytest.mark.parametrize(("value", "worse"), [("0.036 mΩ", False), ("0.0361 mΩ", True)])
def test_a_declaration_that_hides_a_drift_is_told(value: str, worse: bool) -> None:
    # a joint may rise by a fifth (our rule): 0.030 to 0.036 mΩ
    study, file = declared(OLD + MENDED.replace("0.028 mΩ", value))
    assert ("worse than the baseline before it" in asked(study, file)) == worse
    page = " ".join(render(commission_document(study, file), "text").split())
    assert ("Worse than the baseline before it" in page) == worse


@pytest.mark.parametrize(("row", "told"), [
    (MENDED.replace("link replaced", ""), "name or note is blank"),
    (MENDED.replace("B. Invented", ""), "name or note is blank"),
    (MENDED.replace(",yes", ",maybe"), "baseline 'maybe' is no answer"),
    ("retorque.marks,yes,M1,2026-01-01,2026-11-01,A,turned,yes\n", "only a figure has a baseline"),
    (MENDED + MENDED, "read twice on 2026-11-01")])
def test_nobody_declares_a_baseline_unsaid(row: str, told: str) -> None:
    with pytest.raises(InputErrors) as caught:
        declared(row)
    (fault,) = caught.value.faults
    assert told in str(fault)


def test_a_declared_baseline_survives_being_written_and_read() -> None:
    _, file = declared(OLD + MENDED)
    again = readings_from_text(readings_text(file.readings), plan_of(study_of()).dimensions)
    assert [r.declared for r in again.readings] == [False] * 4 + [True]


def test_the_form_has_the_column_and_files_without_it_are_read() -> None:
    head = next(line for line in form(study_of()).splitlines() if line.startswith("id,"))
    assert head == "id,value,instrument,calibration_date,date,name,note,baseline,design,layout"
    assert not any(r.declared for r in readings_of(study_of(), OLD.replace(",\n", "\n")).readings)

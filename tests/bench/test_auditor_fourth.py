"""Stories of an auditor who read the bench a fourth time; figures of modules are invented."""

from __future__ import annotations

import re
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from packcalc.bench import assign as asg
from packcalc.bench import rules, sureness
from packcalc.bench.assign import Dealt
from packcalc.bench.common import resistance_at_common
from packcalc.bench.grade import grade_sheet
from packcalc.bench.pinning import pin_modules
from packcalc.bench.teardown import teardown
from packcalc.bench.uncertainty import Belief, draw_packs
from packcalc.checks import CAUTION, FAIL, PASS
from packcalc.cli import main
from packcalc.errors import InputErrors, UserError
from packcalc.reading.bench_sheet import parse_sheet
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.library import record
from packcalc.report.assign_report import assignment_document
from packcalc.report.bench_report import teardown_document
from packcalc.report.render import render
from packcalc.study import find_layout

from .rows import GOOD, bench_of, graded, lot_of, row_of, sheet_of

NMC = record("nmc-6s-240ah")


def nmc(mark: str, volt: float = 22.20, ampere_hours: float = 210.0, **changes: str):
    return {**GOOD, "mark": mark, "rest_voltage_V": f"{volt:.3f}",
            "lowest_cell_V": f"{volt / 6 - 0.002:.4f}", "highest_cell_V": f"{volt / 6 + 0.002:.4f}",
            "first_voltage_V": f"{volt:.3f}", "second_voltage_V": f"{volt - 0.01:.3f}",
            "capacity_Ah": f"{ampere_hours:.3f}", **changes}


def brief(count: int, power: dict | None = None, battery: dict | None = None, health="90 %",
          **bench):
    return brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": count, "state_of_health": health}],
        "date_of_issue": "2026-11-24",
        "inverter": {"voltage_range": "60 V to 420 V", "absolute_maximum": "450 V",
                     "full_power_from": "60 V"},
        "power": {"peak": "5 kW", "peak_duration": "10 s", "continuous": "2 kW", **(power or {})},
        "battery": {"coldest_start": "15 degC", "charge_lowest": "12 %", **(battery or {})},
        "path": {"link_resistance": "0.2 mΩ", "fuse_resistance": "0.5 mΩ",
                 "contactor_resistance": "0.4 mΩ", "string_cable_length": "0 m"},
        "cables": {"route": [{"name": "battery to inverter", "carries": "traction",
                              "length": "5 m"}]},
        "bench": bench})


def study(rows, layout: str, arrangement: str = "grouped", asked=None, **bench):
    asked = asked or brief(len(rows), **bench)
    lot = grade_sheet(sheet_of(*rows), brief=asked)
    return asg.assign_modules(asked, lot, find_layout(asked, layout, arrangement))


def page(found) -> str:
    return " ".join(render(assignment_document(found), "text").split())


def check(found, title: str):
    return next(c for c in found.checks if c.title == title)


# --- a peak that no voltage carries ----------------------------------------------------------

LOADED = "loaded voltage at least what full power needs"


def test_a_peak_that_cannot_be_delivered_fails_the_brief():
    """Four modules hold some 22 V each over 8 mΩ: E²/4R is near 0.3 MW, never 900 kW."""
    rows = [nmc(f"M{i}") for i in range(4)]
    found = study(rows, "4S1P", asked=brief(4, {"peak": "900 kW", "peak_duration": "1 s"}))
    assert not found.totals.loaded_voltage.known
    told = check(found, LOADED)
    assert told.verdict == FAIL and not found.meets_brief
    assert told.figure is found.totals.power and told.demand.number == pytest.approx(900e3)
    assert told.figure.number < told.demand.number
    assert "the peak cannot be delivered" in page(found)


def test_a_peak_that_can_be_delivered_is_still_judged_by_its_voltage():
    told = check(study([nmc(f"M{i}") for i in range(4)], "4S1P"), LOADED)
    assert told.verdict == PASS and told.figure.unit == "V"


def test_the_command_ends_with_one_where_the_peak_cannot_be_delivered(tmp_path):
    example = Path(__file__).parents[2] / "examples" / "truck"
    text = (example / "brief.toml").read_text("utf-8")
    asked = text.replace('peak = "110 kW"', 'peak = "300 kW"').replace(
        "../parts.csv", str(example.parent / "parts.csv"))
    assert asked != text
    (tmp_path / "brief.toml").write_text(asked, "utf-8")
    (tmp_path / "bench.csv").write_text((example / "bench.csv").read_text("utf-8"), "utf-8")
    done = CliRunner().invoke(main, ["assign", str(tmp_path / "brief.toml"), "--layout", "16S1P"])
    assert done.exit_code == 1 and "the answer is no" in done.output
    assert LOADED in done.output


def test_a_pack_that_runs_empty_before_the_peak_ends_fails():
    """2 % of 210 Ah at 65 V or less is 0.27 kWh; 40 kW for 60 s are 0.67 kWh."""
    rows = [nmc(f"M{i}") for i in range(4)]
    found = study(rows, "4S1P", asked=brief(
        4, {"peak": "40 kW", "peak_duration": "60 s"}, {"charge_lowest": "2 %"}))
    told = check(found, "charge left at the end of the peak")
    assert told.verdict == FAIL and told.figure.number < 0
    power = found.sureness.targets[1]
    assert power.chance == 0.0


# --- a donor that shows more than its description ---------------------------------------------

def donor(volt: str):
    return brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 18}],
        "donor": {"record": "nmc-6s-240ah", "sections": [9, 9], "service_plug_after": 1,
                  "charge": "45 %", "total_voltage": volt, "isolation": "2 MΩ", "crash": "no",
                  "water": "no"},
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}})


# 18 modules, 25.2 V each when full, make 453.6 V; 500 V needs 20 of them, 900 V needs 36.
@pytest.mark.parametrize(("volt", "modules", "glove"), [("500 V", 20, "class 00"),
                                                         ("900 V", 36, "class 0 ")])
def test_a_voltage_beyond_the_description_gives_no_step_and_counts(volt, modules, glove):
    asked, fits = donor(volt), teardown(donor("398 V").donor)
    sheet = teardown(asked.donor)
    assert [s.number for s in sheet.steps] == [0] and sheet.refusal
    assert sheet.steps[0].worst.highest.number == pytest.approx(modules * 25.2)
    assert sheet.steps[0].worst.highest.number >= asked.donor.total_voltage.number
    assert any(f"Gloves of {glove}" in words for words in sheet.preparation)
    full = fits.steps[0].worst.energy.number / fits.stack.charge.number
    assert sheet.steps[0].worst.energy.number == pytest.approx(full * modules / 18)
    told = sheet.checks[1]
    assert told.verdict == FAIL and told.figure.shown in told.sentence
    text = " ".join(render(teardown_document(sheet, asked), "text").split())
    assert f"No step is given: {asked.donor.total_voltage.shown} was read" in text
    assert "pull the service plug" not in text


def test_a_hair_above_full_keeps_its_steps_at_the_larger_figures():
    """455 V is 0.3 % above 453.6 V: a meter, or cells charged too far."""
    sheet = teardown(donor("455 V").donor)
    assert not sheet.refusal and len(sheet.steps) == 18 and sheet.checks[1].verdict == FAIL
    assert sheet.steps[0].worst.highest.number == pytest.approx(455.0)
    half = next(s for s in sheet.steps[1].sections)
    assert half.highest.number == pytest.approx(455.0 / 2)
    assert sheet.stack.charge.number == 1.0
    assert any("for 455.0 V" in words for words in sheet.preparation)


def test_a_voltage_below_every_cell_empty_gives_no_step_and_counts_all_as_full():
    """18 modules of six cells at 3.0 V make 324 V at least; 300 V may be a plug that is out."""
    asked, fits = donor("300 V"), teardown(donor("398 V").donor)
    sheet = teardown(asked.donor)
    assert [s.number for s in sheet.steps] == [0] and "324.0 V at least" in sheet.refusal
    worst = sheet.steps[0].worst
    assert worst.highest.number == pytest.approx(18 * 25.2)
    assert worst.energy.number == pytest.approx(
        fits.steps[0].worst.energy.number / fits.stack.charge.number)
    assert worst.expected[0] < 300.0 < worst.expected[1]


@pytest.mark.parametrize("volt", ["398 V", "453.6 V"])
def test_other_voltages_keep_all_steps_at_the_described_figures(volt):
    sheet = teardown(donor(volt).donor)
    assert not sheet.refusal and len(sheet.steps) == 18
    assert sheet.steps[0].worst.highest.number == pytest.approx(453.6)


# --- the latest voltage ------------------------------------------------------------------------

def test_the_plan_counts_on_the_latest_dated_voltage():
    rows = [nmc(f"M{i}", ampere_hours=210 - i) for i in range(4)]
    rows[1] |= {"first_voltage_V": "22.200", "second_voltage_V": "22.140"}
    found = study(rows, "2S2P")
    step = next(s for s in found.balance.steps if s.mark == "M1")
    standing = asg._standing(next(p for p in found.places if p.dealt.mark == "M1"), NMC)
    assert standing.voltage == pytest.approx(22.14)
    assert step.action == "charge"  # 50 mV below the others, which stand at 22.19 V
    tables = {t.key: t for t in assignment_document(found).tables()}
    column = next(c for c in tables["build_list"].columns if c.key == "rest_voltage_V")
    assert "2026-03-30" in column.title
    assert tables["voltage_days"].rows[0][0].text == "2026-03-30"


def test_a_rest_voltage_dated_after_the_test_counts():
    row = row_of(rest_date="2026-04-02")
    assert row.latest_voltage.voltage is row.rest_voltage
    assert row_of(rest_date="").latest_voltage.date == "2026-03-30"
    assert row_of(second_date="", rest_date="2026-03-02").latest_voltage.voltage.number \
        == row.rest_voltage.number
    undated = row_of(rest_date="", first_date="", second_date="")
    assert undated.latest_voltage.voltage is undated.rest_voltage


def test_what_was_joined_and_its_chain_count_on_the_same_reading():
    from packcalc.bench.joining import worst_joining
    rows = [nmc(f"M{i}", ampere_hours=210 - i) for i in range(4)]
    rows[2] |= {"second_voltage_V": "22.150"}
    found = study(rows, "2S2P")
    assert worst_joining(found).number == pytest.approx(found.balance.worst_joining)
    assert found.balance.worst_joining > 0


def test_days_that_differ_are_told_day_by_day():
    rows = [nmc(f"M{i}", ampere_hours=210 - i) for i in range(4)]
    rows[0] |= {"second_date": "2026-04-04"}
    tables = {t.key: t for t in assignment_document(study(rows, "2S2P")).tables()}
    column = next(c for c in tables["build_list"].columns if c.key == "rest_voltage_V")
    assert column.title == "Latest rest voltage [V]"
    assert [(r[0].text, sorted(r[3].text.split(", "))) for r in tables["voltage_days"].rows] == [
        ("2026-03-30", ["M1", "M2", "M3"]), ("2026-04-04", ["M0"])]


# --- how sure ----------------------------------------------------------------------------------

def common_of(lot) -> Belief:
    entry = brief(4).modules[0]
    return sureness.belief_of(lot, asg.candidates(entry, lot, False))


def test_an_error_in_the_row_is_split_like_one_of_the_brief():
    """3 % in every row, or 3 % of the bench: half of the variance, 3 %/√2, is common."""
    rows = [nmc(f"M{i}") for i in range(4)]
    in_rows = common_of(lot_of(*(r | {"capacity_error_percent": "3"} for r in rows),
                               bench=bench_of(modules_in_pack=4)))
    in_bench = common_of(lot_of(*rows, bench=bench_of(modules_in_pack=4, capacity_error=0.03)))
    assert in_rows.common_capacity == pytest.approx(0.03 / np.sqrt(2))
    assert in_rows.common_capacity == pytest.approx(in_bench.common_capacity)
    assert in_rows.capacity_sigma == pytest.approx(in_bench.capacity_sigma)


def test_each_row_keeps_its_own_split_and_its_whole_variance():
    rows = [nmc("A", capacity_error_percent="1", resistance_error_percent="6"), nmc("B")]
    lot = lot_of(*rows, bench=bench_of(modules_in_pack=2))
    found = common_of(lot)
    assert found.common_capacity[0] == pytest.approx(0.01 / np.sqrt(2))
    assert found.common_resistance[0] == pytest.approx(0.06 / np.sqrt(2))
    for own, common, module in zip(found.capacity_sigma, found.common_capacity, lot.modules):
        whole = module.capacity_sigma.number / module.capacity_common.number
        assert np.hypot(own, common) == pytest.approx(whole)


def test_a_common_error_of_each_module_moves_all_at_once():
    """Sum of 4 in a group: common 3 % stays 3 %, an own 3 % falls to 3 %/√4."""
    none, all_ = np.zeros(4), np.full(4, 0.03)

    def width(own, common):
        b = Belief(np.full(4, 100.0), np.full(4, 1e-3), own, none, np.zeros(4, int), common)
        q = draw_packs(b, np.arange(4).reshape(1, 4), "grouped", trials=20000).capacity
        return q.std() / q.mean()

    assert width(none, all_) == pytest.approx(0.03, rel=0.03)
    assert width(none, np.array([0.06, 0.06, 0.0, 0.0])) == pytest.approx(0.03, rel=0.03)
    assert width(all_, 0.0) == pytest.approx(0.015, rel=0.03)


@pytest.mark.benchmark
def test_ten_thousand_packs_of_four_hundred_with_errors_row_by_row_are_quick():
    rng = np.random.default_rng(1)
    belief = Belief(7e5 * rng.normal(1, 0.03, 400), 2e-3 * rng.normal(1, 0.1, 400),
                    np.full(400, 0.012), np.full(400, 0.05), np.zeros(400, int),
                    rng.uniform(0.005, 0.03, 400), rng.uniform(0.01, 0.05, 400))
    spent = []
    for _ in range(3):
        start = time.process_time()
        draw_packs(belief, np.arange(400).reshape(100, 4), "grouped", trials=10000)
        spent.append(time.process_time() - start)
    assert min(spent) <= 0.5


def test_chance_and_printed_power_are_of_one_pack():
    """Sized from 72 % of the label, dealt with 210 Ah: the printed power is the middle drawn."""
    rows = [nmc(f"M{i}", ampere_hours=210 - i) for i in range(8)]
    asked = brief(8, {"peak": "40 kW", "peak_duration": "30 s"}, {"charge_lowest": "10 %"},
                  health="72 %")
    found = study(rows, "4S2P", asked=asked)
    power = found.sureness.targets[1]
    assert power.middle == pytest.approx(found.totals.power.number, rel=0.004)
    exact = power_as_read(found)
    assert exact == pytest.approx(found.totals.power.number, rel=1e-4)


def power_as_read(found) -> float:
    """Power of a pack drawn with no spread at all."""
    t = found.totals
    _, power, left = sureness._figures(found.brief, found.module, found.pack,
                                       np.array([t.capacity.number]),
                                       np.array([t.resistance.number]))
    assert (left >= 0).all()
    return float(power[0])


# --- what dealing gains, and what leaving out gains ---------------------------------------------

def test_dealing_and_leaving_out_are_told_apart():
    """The weak one stands first on the sheet: order of arrival would build it in."""
    rows = [nmc(f"M{i}", ampere_hours=q) for i, q in enumerate(
        (190, 212, 211, 206, 205, 210, 209, 208, 207))]
    found = study(rows, "4S2P")
    assert [d.mark for d in found.spare] == ["M0"]
    trades = {t.name: t.capacity / 3600 for t in found.outlook.trades}
    # 212+211, 206+205, 210+209, 208+207; and 190+212, 211+206, 205+210, 209+208
    assert trades["order of arrival: this answer's modules"] == pytest.approx(411)
    assert trades["order of arrival: the first 8 of 9"] == pytest.approx(402)
    assert "sorted by capacity and sliced: the strongest 8 of 9" not in trades
    assert "The same modules dealt in other ways" not in page(found)


def test_without_spares_there_is_one_figure_a_way():
    found = study([nmc(f"M{i}", ampere_hours=210 - i) for i in range(8)], "4S2P")
    names = [t.name for t in found.outlook.trades if t.name.startswith("order of arrival")]
    assert names == ["order of arrival: this answer's modules"]


# --- identity -----------------------------------------------------------------------------------

def test_a_mass_of_another_type_leaves_a_module_undecided_and_never_dealt():
    rows = [nmc(f"M{i}") for i in range(5)]
    rows[2]["mass_kg"] = "45"  # the type weighs 33 kg
    lot = lot_of(*rows, bench=bench_of(modules_in_pack=4))
    odd = lot.modules[2]
    assert odd.grade == "undecided" and odd.bars
    assert "another type of module?" in odd.why
    assert not odd.capacity_common.known
    marks = [d.mark for d in asg.candidates(brief(5).modules[0], lot, True)]
    assert marks == ["M0", "M1", "M3", "M4"]
    assert lot.modules[0].grade == "keep"


# --- better than new ----------------------------------------------------------------------------

def test_a_resistance_better_than_new_counts_like_the_others_and_is_said():
    rows = [nmc(f"M{i}", resistance_mohm=r) for i, r in enumerate(
        ("1.15", "1.80", "1.90", "2.00"))]
    lot = lot_of(*rows, bench=bench_of(modules_in_pack=4))
    odd = lot.modules[0]
    assert odd.resistance_common.number == pytest.approx(1.9e-3)  # middle of the other three
    assert odd.resistance_read.number == pytest.approx(1.15e-3)
    told = next(c for c in odd.reasons if c.title == "pulse resistance")
    assert told.verdict == CAUTION
    assert "1.150 mΩ is better than its type new: suspect, counted like" in told.reason


def test_a_reading_no_surely_better_than_new_is_counted_as_new():
    """1.55 mΩ give or take 2 · 3 % reaches the 1.6 mΩ of the type."""
    found = graded(resistance_mohm="1.55")
    assert found.resistance_common.number == pytest.approx(NMC.resistance_low.number)
    told = next(c for c in found.reasons if c.title == "pulse resistance")
    assert told.verdict == PASS


def test_joining_and_sharing_count_the_low_reading_itself():
    row = row_of(resistance_mohm="1.15")
    found = graded(resistance_mohm="1.15")
    dealt = Dealt(found, found.capacity_common, found.resistance_common, (True, True))
    cell = NMC.cell
    assert dealt.resistance.number == pytest.approx(1.6e-3)
    assert asg.first_resistance(dealt, NMC) == pytest.approx(
        1.15e-3 * cell.initial_ratio * cell.hot_ratio)
    assert resistance_at_common(row, bench_of()).read.number == pytest.approx(1.15e-3)
    rows = [nmc(f"M{i}", resistance_mohm=r) for i, r in enumerate(
        ("1.15", "1.80", "1.90", "2.00"))]
    together = study(rows, "2S2P").together
    assert "M0" in together.peak.note


@pytest.mark.parametrize(("charge", "known"), [("2", False), ("4.9", False), ("5", True)])
def test_a_pulse_below_five_percent_charge_is_not_corrected(charge, known):
    found = resistance_at_common(row_of(resistance_charge_percent=charge), bench_of())
    assert found.value.known is known
    if not known:
        assert "uncorrectable" in found.value.note and "below 5 %" in found.value.note


def test_the_counted_resistance_is_the_larger():
    assert rules.resistance_counted(1.15, 1.6) == 1.6 and rules.resistance_counted(2.0, 1.6) == 2.0


# --- an empty sheet -----------------------------------------------------------------------------

@pytest.mark.parametrize("text", ["# decimal: point\n", "# a remark\n# decimal: comma\n\n"])
def test_a_sheet_of_remarks_alone_is_refused(text):
    sheet, faults = parse_sheet(text, "b.csv")
    assert not sheet.rows and len(faults) == 1
    assert "b.csv: is empty but for remarks; the head needs" in str(faults[0])


# --- one line for isolation ---------------------------------------------------------------------

def test_bench_and_assignment_ask_one_isolation():
    """500 Ω/V · 450 V = 225 kΩ for the pack; modules may use up half: 450 kΩ."""
    rows = [nmc(f"M{i}", insulation_Mohm="20") for i in range(4)]
    found = study(rows, "4S1P")
    lot = next(c for c in found.lot.checks if c.title.startswith("isolation of the kept"))
    assert lot.demand.number == pytest.approx(450e3)
    own = next(c for c in study(rows, "4S1P").checks if c.title.startswith("isolation of the ass"))
    assert own.demand.formula is lot.demand.formula


@pytest.mark.parametrize(("megohm", "verdict"), [("0.4", CAUTION), ("0.2", FAIL), ("0.5", PASS)])
def test_between_need_and_share_is_a_caution(megohm, verdict):
    from packcalc.bench.isolation import judge_together
    bench = bench_of()
    found = judge_together("t", "1 module", [float(megohm) * 1e6], bench, bench.pack_voltage)
    assert found.verdict == verdict


# --- pins ---------------------------------------------------------------------------------------

def refused(tmp_path, *lines: str, layout="2S2P", arrangement="grouped") -> list[str]:
    """The faults of a brief whose pins stand on known lines."""
    text = ('date_of_issue = "2026-11-24"\n[[modules]]\nrecord = "nmc-6s-240ah"\ncount = 6\n'
            '[inverter]\nvoltage_range = "20 V to 420 V"\n[power]\npeak = "1 kW"\n[battery]\n'
            'coldest_start = "15 degC"\n[bench]\n' + "\n".join(lines) + "\n")
    path = tmp_path / "brief.toml"
    path.write_text(text, "utf-8")
    asked = read_brief(path)
    rows = [nmc(f"M{i}", ampere_hours=210 - i) for i in range(6)]
    rows[3]["crash"] = "yes"
    lot = grade_sheet(sheet_of(*rows), brief=asked)
    with pytest.raises(InputErrors) as told:
        asg.assign_modules(asked, lot, find_layout(asked, layout, arrangement))
    return [re.sub(r"^.*brief\.toml", "brief.toml", str(f)) for f in told.value.faults]


@pytest.mark.parametrize(("lines", "words"), [
    (['pins_together = [["M0", "M1", "M2"]]'],
     ["brief.toml:12: bench.pins_together: M0, M1, M2 are pinned together, 3 modules, but a group "
      "of 2S2P holds 2; pin no more than 2 together"]),
    (['pins_together = [["M0", "M1"]]', 'pins_apart = [["M0", "M1"]]'],
     ["brief.toml:13: bench.pins_apart: M0 and M1 are pinned apart, and together by "
      "bench.pins_together (M0, M1); drop one of the two"]),
    (['pins_together = [["M0", "M99"]]', 'pins_apart = [["m1", "M2"]]'],
     ["brief.toml:12: bench.pins_together: M99 is no module of b.csv; write a mark of the sheet",
      "brief.toml:13: bench.pins_apart: m1 is no module of b.csv; did you mean M1?"]),
    (['pins_together = [["M3", "M4"]]'],
     ["brief.toml:12: bench.pins_together: M3 with M4: M3 is not dealt (quarantine: crash: donor "
      "was crashed (common practice)); take the pin out, or settle what keeps the module out"]),
    (["boxes = { rear = [1, 9] }", 'pins_not_in = [["M1", "rear"]]'],
     ["brief.toml:12: bench.boxes: box 'rear' reaches to place 9, but 2S2P has 2 places; end it "
      "at 2, or name another layout"]),
])
def test_a_pin_that_cannot_be_met_is_told_with_file_line_key_and_marks(tmp_path, lines, words):
    assert refused(tmp_path, *lines) == words


def test_what_no_dealing_meets_is_told_with_file_line_key_and_marks(tmp_path):
    """Five good modules for four places, and two of them may stand nowhere."""
    (told,) = refused(tmp_path, "boxes = { all = [1, 2] }",
                      'pins_not_in = [["M1", "all"], ["M2", "all"]]')
    assert told.startswith("brief.toml:13: bench.pins_not_in: ")
    assert "M1 not in all, M2 not in all" in told


def test_pins_of_strings_are_held_against_a_string(tmp_path):
    (told,) = refused(tmp_path, 'pins_together = [["M0", "M1", "M2"]]', arrangement="strings")
    assert "but a string of 2S2P holds 2" in told


def test_a_pin_about_a_module_that_is_out_is_met_and_said():
    rows = [nmc(f"M{i}", ampere_hours=210 - i) for i in range(6)]
    rows[3]["crash"] = "yes"
    found = study(rows, "2S2P", boxes={"rear": [1, 1]}, pins_not_in=[["M3", "rear"]],
                  pins_apart=[["M3", "M4", "M5"]])
    notes = " ".join(found.notes)
    assert "The pin M3 not in rear is met: M3 is not dealt (quarantine: crash" in notes
    assert "The pin M3 apart from M4 is met" in notes and "M4 apart from M5" not in notes
    whats = [w.what for w in found.outlook.what_ifs]
    assert "without the pin M3 not in rear" not in whats
    assert "without the pin M4 apart from M5" in whats  # it is left


def test_modules_pinned_together_that_are_all_out_are_met():
    rows = [nmc(f"M{i}", ampere_hours=210 - i) for i in range(6)]
    rows[3]["crash"] = rows[4]["crash"] = "yes"
    found = study(rows, "2S2P", pins_together=[["M3", "M4"]])
    assert "The pin M3 with M4 is met" in " ".join(found.notes)


def test_a_pin_on_a_kept_module_of_another_type_says_so():
    asked = brief(4, pins_together=[["M0", "X"]])
    rows = [*(nmc(f"M{i}") for i in range(4)),
            {**nmc("X", volt=29.6), "module": "nmc-8s-150ah", "lowest_cell_V": "3.698",
             "highest_cell_V": "3.702", "capacity_Ah": "130", "mass_kg": ""}]
    lot = grade_sheet(sheet_of(*rows), asked.bench)
    with pytest.raises(UserError, match="X is"):
        pin_modules(asked, lot, ["M0", "M1", "M2", "M3"], find_layout(asked, "2S2P", "grouped"))


def test_places_short_counts_only_the_type_that_can_fill_them():
    """Undecided modules of another type fill no place."""
    other = {"module": "nmc-12s-160ah", "rest_voltage_V": "44.6", "lowest_cell_V": "3.716",
             "highest_cell_V": "3.718", "capacity_Ah": "150", "mass_kg": "",
             "first_voltage_V": "44.600", "second_voltage_V": "44.590"}
    rows = [*(nmc(f"M{i}") for i in range(3)), {**nmc("L0"), **other},
            {**nmc("L1"), **other, "capacity_Ah": ""}]
    asked = brief(6)
    lot = grade_sheet(sheet_of(*rows), brief=asked)
    assert [m.grade for m in lot.modules][3:] == ["undecided", "undecided"]
    with pytest.raises(UserError) as told:
        asg.assign_modules(asked, lot, find_layout(asked, "3S2P", "grouped"))
    assert "3 short" in str(told.value) and "undecided" not in str(told.value)

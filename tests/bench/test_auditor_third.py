"""Stories of an auditor who read the bench a third time; figures of modules are invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from examples import regenerate
from packcalc.bench import assign as asg
from packcalc.bench.balance import WITHIN, Standing, plan_balance
from packcalc.bench.dealing import Effort, Pins
from packcalc.bench.door import grade_file
from packcalc.bench.enter import enter, open_session
from packcalc.bench.grade import grade_sheet
from packcalc.bench.next_tests import next_tests
from packcalc.bench.sharing import equalising_current
from packcalc.bench.teardown import teardown
from packcalc.findings import leaf
from packcalc.handover import at_assembly as assembled
from packcalc.reading.bench_brief import default_bench
from packcalc.reading.bench_sheet import parse_sheet
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.library import record
from packcalc.reading.sheet_text import layout_of
from packcalc.report.assign_report import assignment_document
from packcalc.report.bench_report import teardown_document
from packcalc.report.render import render
from packcalc.study import find_layout
from tests.bench.rows import GOOD, bench_of, lot_of, sheet_of

NMC, LFP = record("nmc-6s-240ah"), record("lfp-8s-100ah")
CURRENT = default_bench().balance_current


# --- the plan before joining -----------------------------------------------------------------

# Rest voltages of modules near 4 % charge; the first group stands 0.56 V apart.
LOW = (19.375, 19.935, 19.705, 19.705, 19.705, 19.72, 19.69, 19.74)


def planned(volts=LOW, ohms: float = 0.75e-3, strings: bool = False):
    return plan_balance(NMC, [Standing(f"M{i}", f"{i}", i // 2, v, 8e5, ohms)
                              for i, v in enumerate(volts)], CURRENT, strings)


def test_no_module_is_left_that_stands_further_apart_than_it_may_be_joined():
    """Near empty a per cent of charge is more than 10 mV a cell."""
    plan = planned()
    left = [v for v, s in zip(LOW, plan.steps) if s.action == "leave"]
    assert [s.action for s in plan.steps[:2]] == ["charge", "drain"]
    assert left and max(left) - min(left) <= plan.within * 6 + 1e-9
    assert plan.within == WITHIN


def test_the_current_after_the_plan_is_within_the_limit_and_told():
    """Kirchhoff's laws: two modules 60 mV apart over 1.5 mΩ exchange 40 A."""
    plan = planned()
    assert plan.worst_joining == pytest.approx(0.56 / 1.5e-3) and plan.worst_joining > 120
    assert plan.worst_joined <= plan.at_most == pytest.approx(40.0)
    assert plan.at_most <= plan.charge_limit
    for s, t in zip(plan.steps[::2], plan.steps[1::2]):
        apart = abs(s.expected - t.expected)
        assert s.joined == pytest.approx(equalising_current(apart, 0.75e-3, 0.75e-3), abs=1e-6)


def test_where_ten_millivolts_drive_too_much_modules_stand_nearer():
    """0.2 mΩ and 0.2 mΩ: 60 mV would drive 150 A, the limit is 120 A: 8 mV a cell."""
    plan = planned(ohms=0.2e-3)
    assert plan.charge_limit == pytest.approx(120.0)
    assert plan.within == pytest.approx(0.008)
    assert plan.at_most == pytest.approx(120.0)
    left = [v for v, s in zip(LOW, plan.steps) if s.action == "leave"]
    assert max(left) - min(left) <= 0.048 + 1e-9


def test_strings_differ_by_the_sum_of_their_modules():
    """Four modules of 6 cells a string, 10 mV a cell: 240 mV over 2 · 4 · 0.75 mΩ is 40 A."""
    plan = plan_balance(NMC, [Standing(f"M{i}", f"{i}", i // 4, v, 8e5, 0.75e-3)
                              for i, v in enumerate(LOW)], CURRENT, True)
    assert plan.at_most == pytest.approx(40.0)
    assert plan.worst_joined <= plan.at_most


def test_a_left_module_keeps_its_own_voltage_and_fits_the_build_sheet():
    plan = planned()
    for volt, step in zip(LOW, plan.steps):
        assert step.expected == (volt if step.action == "leave" else plan.voltage)
    low, high = assembled.at_assembly([NMC], plan).edges([NMC])
    assert all(low <= s.expected <= high for s in plan.steps)
    assert assembled.WITHIN == WITHIN  # one rule


def brief(count: int, **bench):
    return brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": count}], "date_of_issue": "2026-11-24",
        "inverter": {"voltage_range": "60 V to 420 V", "absolute_maximum": "450 V",
                     "full_power_from": "60 V"},
        "power": {"peak": "5 kW", "peak_duration": "10 s", "continuous": "2 kW"},
        "battery": {"coldest_start": "15 degC", "charge_lowest": "12 %"}, "bench": bench})


def nmc(mark: str, volt: float = 22.20, ampere_hours: float = 210.0, **changes: str):
    return {**GOOD, "mark": mark, "rest_voltage_V": f"{volt:.3f}",
            "lowest_cell_V": f"{volt / 6 - 0.002:.4f}", "highest_cell_V": f"{volt / 6 + 0.002:.4f}",
            "first_voltage_V": f"{volt:.3f}", "second_voltage_V": f"{volt - 0.01:.3f}",
            "capacity_Ah": f"{ampere_hours:.3f}", **changes}


def study(rows, layout: str, arrangement: str = "grouped", **bench):
    asked = brief(len(rows), **bench)
    lot = grade_sheet(sheet_of(*rows), brief=asked)
    return asg.assign_modules(asked, lot, find_layout(asked, layout, arrangement))


def page(found) -> str:
    return " ".join(render(assignment_document(found), "text").split())


def test_the_page_prints_and_judges_the_current_after_the_plan():
    volts = (22.2, 22.0, 22.21, 22.2, 22.2, 22.2, 22.2, 22.2)
    found = study([nmc(f"M{i}", v, 200 + i) for i, v in enumerate(volts)], "4S2P")
    words, plan = page(found), found.balance
    assert "After the plan: with every module at its voltage" in words
    assert "within 10 mV a cell of each other" in words and "within the limit" in words
    assert plan.steps  # a left module's own voltage stands in the build list
    table = {t.key: t for t in assignment_document(found).tables()}["build_list"]
    at = [c.key for c in table.columns].index("expected_voltage_V")
    now = [c.key for c in table.columns].index("rest_voltage_V")
    todo = [c.key for c in table.columns].index("first")
    for row in table.rows:
        assert row[todo].text != "leave" or row[at].text == row[now].text


# --- the answer's figures --------------------------------------------------------------------

ODD = (210.0349, 209.0349, 208.0349, 207.0349, 206.0349, 205.0349, 204.0349, 203.0349)


def test_a_gap_beyond_the_error_is_not_called_smaller():
    """An answer 3 % below its bound, beside an error of 1 %/√2."""
    found = study([nmc(f"M{i}", ampere_hours=q) for i, q in enumerate(ODD)], "4S2P")
    assert "more than the last steps of this answer" in page(found)
    far = replace(found.assignment, bound=found.assignment.best_value / 0.97)
    (words, *_) = asg._notes(far, asg.candidates(found.brief.modules[0], found.lot, False),
                             found.lot.bench)
    assert "0.71 %: no more than the 3 % from this answer to the bound" in words


def test_headline_and_tables_print_one_figure_and_the_bound_is_not_below():
    found = study([nmc(f"M{i}", ampere_hours=q) for i, q in enumerate(ODD)], "4S2P")
    a = found.assignment
    weakest = min(g.number for g in found.totals.groups)
    assert a.value == pytest.approx(weakest, rel=1e-12)
    facts = " ".join(render(assignment_document(found), "text").split())
    assert f"weakest group [Ah] {weakest / 3600:.3f}" in facts
    assert "step that capacities were dealt in" in facts


@pytest.mark.parametrize("seed", range(20))
def test_the_bound_is_not_below_the_true_optimum_of_unrounded_values(seed):
    """Small enough to try every dealing of six modules to three pairs."""
    q = np.random.default_rng(seed).uniform(150.0, 151.0, 6) * 3600.0

    def best(left):
        if not left:
            return np.inf
        first, *rest = left
        return max(min(q[first] + q[k], best([i for i in rest if i != k])) for k in rest)

    from packcalc.bench.partition import assign_groups
    found = assign_groups(q, None, 3, 2)
    exact = asg.unrounded(found, q, found.places)
    assert exact.bound >= best(list(range(6))) * (1 - 1e-12)
    assert exact.value == pytest.approx(q[found.places].sum(axis=1).min())
    assert exact.bound - exact.best_value <= 2 * found.step
    assert found.proven and exact.gap == 0.0  # what is left of it is the rounding alone
    assert exact.rounding == pytest.approx(exact.bound - exact.best_value, abs=1e-6)


# --- pins together ---------------------------------------------------------------------------

def pinned(ampere_hours, *pin: str):
    rows = [nmc(f"M{i}", ampere_hours=q) for i, q in enumerate(ampere_hours)]
    return study(rows, "4S2P", pins_together=[list(pin)])


def test_a_pin_that_leaves_both_out_is_told_with_its_cost():
    found = pinned((210, 209.5, 209, 208.5, 208, 207.5, 207, 206.5, 206, 185), "M0", "M9")
    assert {d.mark for d in found.spare} == {"M0", "M9"}
    assert "M0 with M9 are both left out: the pin puts them into one group or leaves them out " \
        "together; with them placed the pack would come to 395" in page(found)


def test_pinned_modules_that_are_good_enough_are_placed():
    alike = (210, 209.9, 209.8, 209.7, 209.6, 209.5, 209.4, 209.3, 209.25, 209.25)
    found = pinned(alike, "M8", "M9")
    dealt = asg.candidates(found.brief.modules[0], found.lot, False)
    bare = asg.deal(dealt, found.layout, Pins(together=((8, 9),)), Effort())
    assert not np.isin([8, 9], bare.places).any()  # a dealing that knows capacity alone
    rows = {p.dealt.mark: p.row for p in found.places}
    assert rows["M8"] == rows["M9"] and "left out:" not in page(found)
    marks = [p.dealt.mark for p in found.places] + [d.mark for d in found.spare]
    assert sorted(marks) == [f"M{i}" for i in range(10)]
    assert found.assignment.best_value <= found.assignment.bound


def test_without_pins_nothing_is_dealt_twice():
    found = study([nmc(f"M{i}", ampere_hours=q) for i, q in enumerate(ODD)], "4S2P")
    dealt = asg.candidates(found.brief.modules[0], found.lot, False)
    again, notes = asg.deal_pinned(dealt, found.layout, Pins(), Effort())
    assert notes == () and again.value == found.assignment.value


# --- entering by hand ------------------------------------------------------------------------

def sit(path, *answers: str) -> str:
    said, left = [], list(answers)

    def hear(words: str) -> str:
        if not left:
            raise EOFError
        return left.pop(0)

    enter(open_session(path), said.append, hear)
    return "\n".join(said)


HEAD = "mark,module,rest_voltage_V,lowest_cell_V,highest_cell_V\n"
LOT = "".join(f"M{i},12s 160 Ah NMC,{44.4 + i / 100:.2f},3.70,3.71\n" for i in range(1, 4))


def test_the_sum_of_cells_is_asked_about_when_the_last_cell_is_typed(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text(HEAD + LOT, "utf-8")
    told = sit(path, "M4", "12s 160 Ah NMC", "44.40", "3.60", "!", "3.61", "!", "")
    # the other eleven: (44.395 V − 3.60 V)/11 = 3.7086 V at the least
    assert "sets the module aside, cells of the module: 108.6 mV, asked at most 50.00 mV" in told
    assert "44.40 V cannot be 12 cells between 3.600 V and 3.610 V" in told


@pytest.mark.parametrize("volt", ["39.6", "47.0"])
def test_a_voltage_unlike_the_lot_is_asked_about_as_it_is_typed(tmp_path, volt):
    """39.6 V over 12 cells is 3.30 V, an LFP plateau; 47.0 V is 6 % above the others."""
    path = tmp_path / "bench.csv"
    path.write_text(HEAD + LOT, "utf-8")
    told = sit(path, "M4", "12s 160 Ah NMC", volt, "!", ".", "")
    assert "asked:" in told and "kept: module M4" in told
    assert ("flat-curve (LFP) module?" in told) == (volt == "39.6")


def test_a_module_like_the_others_is_asked_nothing(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text(HEAD + LOT, "utf-8")
    assert "asked:" not in sit(path, "M4", "12s 160 Ah NMC", "44.42", "3.700", "3.705", "")


# --- what to test next -----------------------------------------------------------------------

def need(lot, kelvin: float | None):
    coldest = None if kelvin is None else leaf("coldest", "θ_min", "°C", kelvin, "given")
    return replace(lot, need=replace(lot.need, coldest=coldest))


@pytest.mark.parametrize(("kelvin", "asked"), [(None, True), (278.15, True), (283.15, False)])
def test_marks_alone_get_the_cold_pulse_of_one_module_first(kelvin, asked):
    lot = need(lot_of(*({"mark": f"M{i}", "module": "nmc-6s-240ah"} for i in range(3))), kelvin)
    first, *rest = next_tests(lot)
    assert (first.kind == "cold pulse") == asked
    assert "cold pulse" not in [t.kind for t in rest]
    if asked:
        assert first.marks == ("M0",) and "overnight" in first.how
        assert "its insulation and rest voltage first" in first.how


def test_a_sheet_without_types_gets_it_too():
    first, *_ = next_tests(lot_of({"mark": "A"}, {"mark": "B"}))
    assert first.kind == "cold pulse" and first.marks == ("A",)


def test_the_module_of_the_largest_resistance_is_taken_and_a_cold_reading_ends_it():
    rows = [{**GOOD, "mark": "A"}, {**GOOD, "mark": "B", "resistance_mohm": "2.1"}]
    first, *_ = next_tests(lot_of(*rows))
    assert first.kind == "cold pulse" and first.marks == ("B",)
    rows[0]["resistance_temperature_degC"] = "2"
    assert "cold pulse" not in [t.kind for t in next_tests(lot_of(*rows))]


def test_a_brief_with_a_resistance_read_in_the_cold_asks_for_no_other():
    asked = brief_from_data({
        "modules": [{"label": "6s 240 Ah NMC", "count": 8, "resistance": "6 mΩ",
                     "resistance_pulse": "10 s", "resistance_temperature": "0 degC",
                     "resistance_charge": "50 %"}],
        "inverter": {"voltage_range": "60 V to 420 V"}, "power": {"peak": "5 kW"},
        "battery": {"coldest_start": "0 degC"}})
    sheet, _ = parse_sheet("mark\nA\n", "b.csv", asked.modules[0].module)
    assert "cold pulse" not in [t.kind for t in next_tests(grade_sheet(sheet, brief=asked))]


def test_half_charge_is_told_by_rest_voltage_where_that_tells_it():
    def how(name):
        lot = lot_of({"mark": "A", "module": name}, bench=bench_of(modules_in_pack=16))
        return next(t.how for t in next_tests(lot) if t.kind == "pulse")
    assert "half charge, told by rest voltage before any capacity is: about 22." in how(NMC.id)
    assert "draw half of the label, 50.00 Ah" in how(LFP.id)


# --- the donor -------------------------------------------------------------------------------

def donor(**changes):
    given = {"record": "nmc-6s-240ah", "sections": [9, 9], "service_plug_after": 1,
             "charge": "45 %", "total_voltage": "398 V", "isolation": "2 MΩ", "crash": "no",
             "water": "no", **changes}
    return brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 18}], "donor": given,
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}})


def test_energy_is_counted_at_the_most_that_the_voltage_allows():
    asked = donor()
    sheet = teardown(asked.donor)
    check = next(c for c in sheet.checks if c.title == "charge of the donor against its voltage")
    assert check.verdict == "pass" and "32 to 56 %" in check.reason
    assert sheet.stack.charge.number == pytest.approx(0.56, abs=0.005)
    read_low = donor(total_voltage="340 V")
    given = teardown(read_low.donor).steps[0].worst.energy.number  # at the 45 % as given
    assert sheet.steps[0].worst.energy.number == pytest.approx(
        given * sheet.stack.charge.number / 0.45)
    low, high = sheet.steps[0].worst.expected
    assert low < 398.0 < high


@pytest.mark.parametrize(("crash", "words"), [
    ("no", "no distance is printed in the sources read"),
    ("yes", "at least 16 m (50 ft)"), ("unknown", "at least 16 m (50 ft)")])
def test_a_quarantine_distance_or_its_lack_is_printed_for_every_donor(crash, words):
    asked = donor(crash=crash)
    text = " ".join(render(teardown_document(teardown(asked.donor), asked), "text").split())
    assert "Quarantine" in text and words in text


# --- reading the sheet -----------------------------------------------------------------------

@pytest.mark.parametrize(("cell", "right"), [
    (">999", "write 999, in the unit of the head"), ("> 999 MΩ", "write 999"),
    ("OL", "write the top of its range"), ("O.L", "write the top of its range"),
    ("<0.5", "measure again in a lower range")])
def test_a_tester_at_the_end_of_its_range_is_hinted_at(cell, right):
    _, (fault,) = parse_sheet(f"mark,insulation_Mohm\nA,{cell}\n", "b.csv")
    assert "is no number" in fault.wrong and right in fault.right


def test_another_meter_off_its_range_is_no_reading():
    _, (fault,) = parse_sheet("mark,resistance_mohm\nA,OL\n", "b.csv")
    assert "no reading; measure again in another range" in fault.right


@pytest.mark.parametrize("first", ["sep=;", '"sep=;"', "SEP=;"])
def test_a_line_that_names_the_separator_is_not_the_head(first):
    text = f"{first}\n# decimal: comma\nmark;capacity_Ah\nA;210,5\n"
    sheet, faults = parse_sheet(text, "b.csv")
    assert faults == () and sheet.rows[0].capacity.number == pytest.approx(210.5 * 3600)
    layout = layout_of(text)
    assert (layout.separator, layout.decimal, layout.head) == (";", "comma",
                                                               ("mark", "capacity_Ah"))


@pytest.mark.parametrize("separator", [",", "\t"])
def test_the_same_with_another_separator(separator):
    text = f"sep={separator}\nmark{separator}capacity_Ah\nA{separator}210.5\n"
    sheet, faults = parse_sheet(text, "b.csv")
    assert faults == () and sheet.rows[0].capacity.number == pytest.approx(210.5 * 3600)


# --- the example that is wrong on purpose ----------------------------------------------------

TRAPS = ("Q04", "Q07", "Q09", "Q12", "Q14", "Q17", "Q19", "Q21", "Q23")


def test_none_of_the_traps_in_the_faulty_lot_is_kept():
    folder = regenerate.ROOT / "examples" / "faulty"
    lot = grade_file(folder / "bench.csv", read_brief(folder / "brief.toml"))
    assert tuple(m.mark for m in lot.modules if m.grade != "keep") == TRAPS
    assert len(lot.of_grade("keep")) == 16
    assert "nvented" in (folder / "bench.csv").read_text("utf-8").splitlines()[0]


def test_the_teardown_sheet_of_the_truck_is_among_the_pages():
    assert "teardown.html" in regenerate.FILES["truck"]
    assert regenerate.arguments("truck", "teardown.html", "x")[0] == "teardown"
    assert "teardown.html" in (regenerate.ROOT / "README.md").read_text("utf-8")

"""What a sheet of salvaged modules is told: chances, rest voltages, dates, types, counts.

Figures of modules are invented.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from packcalc import highest_voltage
from packcalc.bench import assign as asg
from packcalc.bench import sureness
from packcalc.bench.door import grade_file, too_few, types_of
from packcalc.bench.enter import enter, open_session
from packcalc.bench.grade import grade_sheet
from packcalc.bench.meaning import CHARGE_HELD, ENERGY_HELD, VOLTAGE_HELD
from packcalc.bench.questions import LIKE_A_DAY, ask
from packcalc.bench.uncertainty import pack_of
from packcalc.checks import CAUTION, FAIL, PASS
from packcalc.cli import main
from packcalc.errors import Fault, InputErrors, UserError
from packcalc.findings import leaf
from packcalc.highest_voltage import asked_of_bench, voltage_of
from packcalc.reading.bench_sheet import parse_sheet
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.told_once import told_once
from packcalc.report.assign_report import assignment_document, sections_for_review
from packcalc.report.render import render
from packcalc.study import find_layout

from tests.sized import example

from .rows import GOOD, bench_of, graded, lot_of, row_of, sheet_of, text_of

EXAMPLES = Path(__file__).parents[2] / "examples"
OPEN = {"capacity_Ah": "", "resistance_mohm": ""}
WRONG_PLURAL = re.compile(r"\b1 (?:[a-z]+ )?(?:modules|cells|sections|steps|places|readings|others|"
                          r"questions|rows|strings|groups|figures|checks)\b")


def nmc(mark: str, **changes: str) -> dict[str, str]:
    return {**GOOD, "mark": mark, **changes}


def brief(count: int, *, energy: str | None = None, **bench):
    asked = {"coldest_start": "15 degC", "charge_lowest": "12 %"}
    if energy:
        asked["energy_least"] = energy
    return brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": count, "state_of_health": "90 %"}],
        "date_of_issue": "2026-11-24",
        "inverter": {"voltage_range": "60 V to 420 V", "absolute_maximum": "450 V",
                     "full_power_from": "60 V"},
        "power": {"peak": "5 kW", "peak_duration": "10 s", "continuous": "2 kW"},
        "path": {"link_resistance": "0.2 mΩ", "fuse_resistance": "0.5 mΩ",
                 "contactor_resistance": "0.4 mΩ", "string_cable_length": "0 m"},
        "cables": {"route": [{"name": "battery to inverter", "carries": "traction",
                              "length": "5 m"}]},
        "battery": asked, "bench": bench})


def dealt(asked, rows, layout: str, arrangement: str = "grouped"):
    lot = grade_sheet(sheet_of(*rows), brief=asked)
    return asg.assign_modules(asked, lot, find_layout(asked, layout, arrangement))


def of(study, title: str):
    return next(c for c in study.checks if c.title == title)


def run(*words: str):
    return CliRunner().invoke(main, list(words))


# --- a pass beside a small chance ------------------------------------------------------------

def sixteen_unmeasured(energy: str):
    """Four were measured, twelve stand at what is expected of them."""
    rows = [nmc(f"M{i}") for i in range(4)] + [nmc(f"U{i}", **OPEN) for i in range(12)]
    return dealt(brief(16, energy=energy, count_undecided="yes"), rows, "16S1P")


def test_other_dealings_are_tried_only_where_they_are_printed(monkeypatch):
    tried, bare = [], asg.look_out
    monkeypatch.setattr(asg, "look_out", lambda *asked: tried.append(1) or bare(*asked))
    found = example("van").salvage.dealt
    found = replace(found, notes=found.notes)  # what another test has asked of it is not there
    assert sections_for_review(found) and not tried
    keys = [s.key for s in assignment_document(found).sections]
    assert tried == [1] and keys[-2:] == ["trades", "replacing"] and found.outlook.trades
    assert keys[:-2] == [s.key for s in sections_for_review(found)]


def test_an_energy_that_few_drawn_packs_reach_is_a_caution_with_its_chance():
    """A tenth of such modules is counted as weak: of twelve one nearly always is."""
    found = sixteen_unmeasured("62 kWh")
    target = found.sureness.targets[0]
    told = of(found, ENERGY_HELD)
    assert told.figure.number > told.demand.number and 0.05 <= target.chance < 0.5
    assert told.verdict == CAUTION and found.meets_brief
    assert f"only {100 * target.chance:.3g} % of the packs drawn" in told.reason
    assert re.search(r"measure the capacity of U\d+ first, of 12 modules without a capacity",
                     told.remedy)


def test_an_energy_that_hardly_any_drawn_pack_reaches_fails():
    """0.9³⁰ = 4 %: seldom is none of thirty weak, though each is expected at 98.5 %."""
    found = dealt(brief(30, energy="124 kWh", count_undecided="yes"),
                  [nmc(f"U{i}", **OPEN) for i in range(30)], "30S1P")
    told = of(found, ENERGY_HELD)
    assert told.figure.number > told.demand.number
    assert found.sureness.targets[0].chance < sureness.HARDLY
    assert told.verdict == FAIL and not found.meets_brief


def test_an_energy_that_nearly_all_drawn_packs_reach_passes():
    told = of(sixteen_unmeasured("30 kWh"), ENERGY_HELD)
    assert told.verdict == PASS and "drawn" not in told.reason


@pytest.mark.parametrize("title", [ENERGY_HELD, VOLTAGE_HELD, CHARGE_HELD])
@pytest.mark.parametrize(("chance", "verdict"), [
    (0.96, PASS), (0.95, PASS), (0.949, CAUTION), (0.05, CAUTION), (0.049, FAIL), (None, PASS)])
def test_every_check_of_the_pack_goes_by_its_own_chance(title, chance, verdict):
    found = sixteen_unmeasured("30 kWh")
    sure = replace(found.sureness, targets=tuple(
        replace(t, chance=chance if t.held == title else 1.0) for t in found.sureness.targets))
    for check in sureness.held_by_chance(found.totals.checks, sure):
        assert check.verdict == (verdict if check.title == title else PASS)


def test_a_check_that_fails_by_its_figure_stays_failed_whatever_the_chance():
    found = sixteen_unmeasured("500 kWh")
    told = of(found, ENERGY_HELD)
    sure = replace(found.sureness, targets=tuple(replace(t, chance=1.0)
                                                 for t in found.sureness.targets))
    assert told.verdict == FAIL and sureness.held_by_chance((told,), sure) == (told,)


@pytest.mark.parametrize(("layout", "arrangement"), [
    ("4S2P", "grouped"), ("4S2P", "strings"), ("8S1P", "grouped")])
def test_the_figures_as_assigned_are_those_that_the_checks_hold(layout, arrangement):
    rows = [nmc(f"M{i}", capacity_Ah=str(200 + i), resistance_mohm=f"{1.9 + i / 50:.3f}")
            for i in range(8)]
    found = dealt(brief(8, energy="5 kWh"), rows, layout, arrangement)
    energy, power, left = found.sureness.targets
    assert energy.assigned == pytest.approx(found.totals.energy.number, rel=1e-9)
    assert power.assigned == pytest.approx(found.totals.power.number, rel=1e-6)
    assert left.assigned == pytest.approx(of(found, CHARGE_HELD).figure.number, rel=1e-9)


def test_a_pack_by_hand():
    """Groups of 3 + 5 and 4 + 6 Ah: the weakest holds 8; strings: 3 + 4 of the weakest each."""
    q, r = np.array([[3.0, 5.0], [4.0, 6.0]]), np.array([[2.0, 2.0], [4.0, 4.0]])
    assert pack_of(q, r, "grouped") == (8.0, 3.0)
    strings = pack_of(q, r, "strings")
    assert strings[0] == 7.0 and strings[1] == pytest.approx(8 / 3)  # 4 Ω beside 8 Ω


def test_a_figure_that_few_draws_reach_is_cautioned_where_it_is_printed():
    page = " ".join(render(assignment_document(sixteen_unmeasured("30 kWh")), "text").split())
    assert re.search(r"CAUTION: Usable energy as assigned, [\d.]+ kWh: only [\d.]+ % of the drawn "
                     r"packs reach it; reckon with [\d.]+ kWh, their middle", page)
    assert "The figures as assigned, among the draws" in page


# --- no rest voltage, two dated readings -----------------------------------------------------

NO_REST = {"rest_voltage_V": "", "rest_date": "", "rest_temperature_degC": ""}


def test_the_later_dated_reading_stands_for_a_rest_voltage():
    found = graded(**NO_REST)
    assert found.grade == "keep" and not found.bars
    told = next(c for c in found.reasons if c.title == "rest voltage")
    assert told.figure.number == pytest.approx(22.19)
    assert "the reading of the self-discharge test of 2026-03-30 at 21.00 °C counts" in told.reason
    assert found.row.at_rest.date == "2026-03-30"


def test_it_is_dealt_and_the_plan_counts_on_that_reading():
    rows = [nmc("M0", **NO_REST), *(nmc(f"M{i}") for i in range(1, 4))]
    found = dealt(brief(4), rows, "4S1P")
    own = next(p for p in found.places if p.dealt.mark == "M0")
    assert own.dealt.graded.row.latest_voltage.voltage.number == pytest.approx(22.19)


@pytest.mark.parametrize("missing", ["first_date", "second_date"])
def test_which_reading_is_the_later_is_not_guessed(missing):
    found = graded(**NO_REST, **{missing: ""})
    told = next(c for c in found.reasons if c.title == "rest voltage")
    assert found.grade == "undecided" and found.bars
    assert "has no date" in told.reason and "date the readings" in told.remedy


def test_a_module_without_any_voltage_is_told_so():
    found = graded(**NO_REST, first_voltage_V="", second_voltage_V="")
    told = next(c for c in found.reasons if c.title == "rest voltage")
    assert found.grade == "undecided" and told.reason == "not measured"


def test_what_stands_in_is_asked_about_like_a_rest_voltage():
    odd = [str(q) for q in ask(sheet_of(nmc("A", **NO_REST, first_voltage_V="29.7",
                                            second_voltage_V="29.6", lowest_cell_V="",
                                            highest_cell_V="")), bench_of())]
    assert any("second_voltage_V: module A: 29.60 V is 4.933 V a cell" in line for line in odd)


# --- dates the wrong way round ---------------------------------------------------------------

def test_reversed_dates_are_asked_about_and_nothing_is_graded_from_them():
    found = lot_of(nmc("A", first_date="2026-03-30", second_date="2026-03-02"))
    assert [str(q) for q in found.questions] == [
        "b.csv:2: second_date: module A: the second reading (2026-03-02) lies before the first "
        "(2026-03-30): nothing is told from the two; are the two readings swapped, or is one date "
        "a slip?"]
    assert found.modules[0].grade == "undecided" and found.modules[0].bars


@pytest.mark.parametrize(("second", "asked"), [
    ("2026-03-01", True), ("2026-03-02", False), ("2026-03-03", False)])
def test_only_a_second_reading_before_the_first_is_reversed(second, asked):
    found = lot_of(nmc("A", second_date=second)).questions
    assert any("lies before" in str(q) for q in found) is asked


# --- the voltage that insulation is asked at -------------------------------------------------

def test_the_bench_asks_at_the_layouts_own_voltage_where_the_brief_implies_one():
    """475 V · 1.03 = 489.25 V: the charger's ceiling at its tolerance passes the inverter's 450."""
    asked = read_brief(EXAMPLES / "faulty" / "brief.toml")
    highest = asked_of_bench(asked)[0]
    assert highest.number == pytest.approx(475 * 1.03) and "16S1P" in highest.title
    lot = grade_file(EXAMPLES / "faulty" / "bench.csv", asked, highest)
    told = next(c for c in lot.checks if c.title.startswith("isolation of the kept"))
    assert told.demand.number == pytest.approx(500 * 475 * 1.03 / 0.5)
    assert "highest working voltage of 16S1P" in told.reason


def test_of_several_candidates_the_largest_counts_and_says_that_it_errs_high(monkeypatch):
    """6S1P, 5S1P and 3S2P fit six modules; with five in the pack 5S1P alone."""
    monkeypatch.setattr(highest_voltage, "voltage_of", lambda asked, one: leaf(
        f"highest working voltage of {one.label}", "U", "V", 25.4 * one.series, "computed"))
    several = asked_of_bench(brief(6))[0]
    assert several.number == pytest.approx(6 * 25.4) and "6S1P" in several.title
    assert "the largest of 3 layouts that fit (errs high)" in several.title
    one = asked_of_bench(brief(6, modules_in_pack=5))[0]
    assert one.number == pytest.approx(5 * 25.4) and "errs" not in one.title


def test_where_no_layout_fits_the_nearest_misses_count():
    highest = asked_of_bench(brief(6, energy="900 kWh"))[0]
    assert highest.at_least and highest.title.endswith("the largest of the nearest misses")


def test_both_commands_ask_at_the_same_voltage(tmp_path):
    sheet = str(EXAMPLES / "faulty" / "bench.csv")
    asked = str(EXAMPLES / "faulty" / "brief.toml")
    graded_ = " ".join(run("bench", sheet, "--brief", asked).output.split())
    placed = " ".join(run("assign", asked, "--layout", "15S1P").output.split())
    assert "least 489.2 kΩ" in graded_ and "least 489.2 kΩ" in placed
    assert "450.0 kΩ" not in graded_ and "450.0 kΩ" not in placed


def test_a_voltage_given_for_the_pack_counts_unless_a_layout_has_more():
    row = sheet_of(GOOD)
    asked = brief(1)
    highest = voltage_of(asked, find_layout(asked, "1S1P"))
    assert grade_sheet(row, bench_of(), asked).need.voltage.number == 450.0
    assert grade_sheet(row, bench_of(), asked, highest).need.voltage.number == 450.0
    more = replace(highest, value=600.0)
    assert grade_sheet(row, bench_of(), asked, more).need.voltage.number == 600.0


def test_an_open_chain_counts_no_less_than_the_inverters_own_maximum():
    asked = brief(1)
    open_ = replace(voltage_of(asked, find_layout(asked, "1S1P")), value=30.0,
                    note="at least this; not evaluated: motor")
    found = grade_sheet(sheet_of(GOOD), None, asked, open_).need.voltage
    assert found.number == 450.0 and "errs low" in found.title


# --- a record of the user's own --------------------------------------------------------------

def own_record(folder: Path, **changes: str) -> None:
    text = (EXAMPLES.parent / "cell_library" / "modules" / "nmc-6s-240ah.toml").read_text("utf-8")
    text = text.replace('id = "nmc-6s-240ah"', 'id = "mine-6s"')
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    (folder / "mine.toml").write_text(text, "utf-8")


def own_brief(folder: Path, more: str = "") -> str:
    (folder / "brief.toml").write_text(
        '[[modules]]\nrecord = "mine.toml"\ncount = 4\n[inverter]\n'
        'voltage_range = "60 V to 420 V"\nabsolute_maximum = "450 V"\n'
        f'[power]\npeak = "1 kW"\n{more}', "utf-8")
    return str(folder / "brief.toml")


@pytest.mark.parametrize("named", ["mine-6s", "mine.toml", ""])
@pytest.mark.parametrize("beside", [True, False])
def test_a_row_names_the_briefs_own_record_by_id_or_file(tmp_path, named, beside):
    own_record(tmp_path)
    elsewhere = tmp_path / "lot"
    elsewhere.mkdir()
    sheet = (tmp_path if beside else elsewhere) / "bench.csv"
    sheet.write_text(text_of(nmc("A", module=named)), "utf-8")
    asked = read_brief(own_brief(tmp_path))
    found = grade_file(sheet, asked)
    assert found.modules[0].row.module.id == "mine-6s" and not found.questions


def test_a_name_that_is_not_known_lists_what_is(tmp_path):
    own_record(tmp_path)
    (tmp_path / "bench.csv").write_text(text_of(*(nmc(f"M{i}", module="mine-6") for i in range(9))),
                                        "utf-8")
    with pytest.raises(InputErrors) as told:
        grade_file(tmp_path / "bench.csv", read_brief(own_brief(tmp_path)))
    (line,) = str(told.value).splitlines()
    assert "did you mean mine-6s?" in line and "mine-6s (mine.toml)" in line
    assert "packcalc library" in line


def test_a_fault_of_the_users_own_record_is_told_once(tmp_path):
    own_record(tmp_path, count=("cells_in_series = 6", 'cells_in_series = "six"'))
    asked = own_brief(tmp_path, '[donor]\nrecord = "mine.toml"\nsections = [2, 2]\n'
                                '[bench]\nfile = "bench.csv"\n')
    (tmp_path / "bench.csv").write_text(text_of(nmc("A", module="mine.toml"),
                                                nmc("B", module="./mine.toml")), "utf-8")
    for words in (("bench", "--brief", asked), ("assign", asked), ("check", asked),
                  ("bench", str(tmp_path / "bench.csv"))):
        done = run(*words)
        assert done.exit_code == 2 and done.output.count("'six' is not a whole number") == 1, words
        assert "which module is it" not in done.output


# --- one cause, one line ---------------------------------------------------------------------

def many(**changes: str) -> list[dict[str, str]]:
    return [nmc(f"M{i:02d}", **changes) for i in range(12)]


@pytest.mark.parametrize(("changes", "wanted"), [
    ({"module": "nonsense"}, "'nonsense' is no module label"),
    ({"rest_voltage_V": "22.2 V"}, "the unit stands in the head"),
    ({"rest_voltage_V": "22200"}, "is not readable as rest voltage"),
    ({"rest_date": "03.11.2026"}, "which number is the month is never guessed"),
    ({"resistance_mohm": "0.0019"}, "is 1.900 mΩ meant"),
    ({"first_date": "2026-03-30", "second_date": "2026-03-02"}, "lies before the first"),
    ({"module": "12s 94 Ah NMC"}, "is no module of the brief"),
    ({"module": "lfp-8s-100ah"}, "is LFP in a lot of NMC")])
def test_what_is_wrong_in_every_row_is_told_in_one_line(tmp_path, changes, wanted):
    (tmp_path / "bench.csv").write_text(text_of(*many(**changes)), "utf-8")
    own_record(tmp_path, id=('id = "mine-6s"', 'id = "nmc-6s-240ah"'))
    asked = own_brief(tmp_path, '[bench]\nfile = "bench.csv"\n')
    told = [line for line in run("bench", "--brief", asked).stderr.splitlines()
            if re.match(r".*bench.csv:\d+: ", line)]
    assert len(told) == 1 and wanted in told[0], told
    placed = run("assign", asked, "--layout", "4S1P").output.splitlines()
    assert sum("bench.csv" in line for line in placed) == 1, placed


def test_a_short_lot_says_how_many_questions_stand_open(tmp_path):
    asked = brief(12)
    lot = grade_sheet(sheet_of(*many(resistance_mohm="0.0019")), brief=asked)
    with pytest.raises(UserError, match="12 questions about the sheet open, see packcalc bench"):
        asg.assign_modules(asked, lot, find_layout(asked, "12S1P"))


def test_one_module_of_another_type_is_still_asked_all():
    rows = [*many()[:4], nmc("X", module="lfp-8s-100ah")]
    odd = [q for q in ask(sheet_of(*rows), bench_of()) if q.mark == "X"]
    assert len({q.quantity for q in odd}) > 1


def test_faults_of_two_files_stay_apart():
    faults = [Fault(name, n, "k", f"'{n}' is no number") for name in "ab" for n in (1, 2, 3, 4)]
    assert len(told_once(faults)) == 2


# --- counts ----------------------------------------------------------------------------------

ONE = ('date_of_issue = "2026-11-24"\n[[modules]]\nrecord = "nmc-6s-240ah"\ncount = 2\n'
       '[inverter]\nvoltage_range = "15 V to 60 V"\nabsolute_maximum = "70 V"\n'
       '[power]\npeak = "1 kW"\n[battery]\ncoldest_start = "15 degC"\ncharge_lowest = "12 %"\n'
       '[donor]\nrecord = "nmc-6s-240ah"\nsections = [1]\n{donor}[bench]\nmodules_in_pack = 1\n')


@pytest.mark.parametrize("donor", ["", 'total_voltage = "60 V"\n', 'total_voltage = "5 V"\n'])
@pytest.mark.parametrize("slip", ["1.9", "0.0019"])
def test_one_of_a_thing_is_never_told_in_the_plural(tmp_path, donor, slip):
    (tmp_path / "brief.toml").write_text(ONE.format(donor=donor), "utf-8")
    (tmp_path / "one.csv").write_text(text_of(nmc("A", resistance_mohm=slip)), "utf-8")
    asked, sheet = str(tmp_path / "brief.toml"), str(tmp_path / "one.csv")
    for words in (("teardown", asked), ("bench", sheet, "--brief", asked),
                  ("assign", asked, "--sheet", sheet, "--layout", "1S1P")):
        told = " ".join(run(*words).output.split())
        assert WRONG_PLURAL.search(told) is None, (words, WRONG_PLURAL.search(told))


@pytest.mark.parametrize(("undecided", "wanted"), [
    (0, "0 good modules for 16 places; find others"),
    (1, "1 more is undecided: test,"), (2, "2 more are undecided: test,")])
def test_too_few_counts_what_is_undecided(undecided, wanted):
    rows = [nmc(f"U{i}", **OPEN) for i in range(undecided)] or [nmc("W", water="yes")]
    assert wanted in too_few(lot_of(*rows, bench=bench_of(modules_in_pack=16)))


# --- as spreadsheets write -------------------------------------------------------------------

def parsed(cell: str, head: str = "capacity_Ah"):
    sheet, faults = parse_sheet(f"mark;{head}\nA;{cell}\n", "b.csv")
    return sheet.rows[0] if sheet.rows else None, [str(f) for f in faults]


@pytest.mark.parametrize(("cell", "wanted"), [
    ("20 5", "two numbers, or a blank for the decimal mark"), ("2 05.5", "two numbers"),
    ("20²", "is no number"), ("…", "write the number alone"),
    ("205 Ah", "the unit stands in the head"), ("1,234.5", "no thousands marks")])
def test_a_cell_that_might_mean_another_number_is_refused(cell, wanted):
    row, faults = parsed(cell)
    assert len(faults) == 1 and wanted in faults[0] and not row.capacity.known


@pytest.mark.parametrize("cell", ["1 234.5", "1\u00a0234.5", "1\u202f234.5", "\u00a01234.5\u00a0"])
def test_blanks_that_part_thousands_are_read_over(cell):
    row, faults = parsed(cell)
    assert not faults and row.capacity.number == pytest.approx(1234.5 * 3600)


@pytest.mark.parametrize("cell", ["n/a", "N/A", "NA", "n.a.", "-", "--", "—", "?", "unknown"])
def test_ways_to_write_that_nothing_was_read(cell):
    assert parsed(cell)[1] == [] and not parsed(cell)[0].capacity.known
    assert parsed(cell, "rest_date")[1] == [] and parsed(cell, "crash")[0].crash == "unknown"


@pytest.mark.parametrize(("head", "meant"), [
    ("resistance_mΩ", "resistance_mohm"), ("Resistance (mΩ)", "resistance_mohm"),
    ("insulation_MΩ", "insulation_Mohm"), ("insulation [MΩ]", "insulation_Mohm"),
    ("rest_temperature_°C", "rest_temperature_degC"), ("Rest voltage V", "rest_voltage_V"),
    ("resistance_charge_%", "resistance_charge_percent"), ("Mark", "mark")])
def test_a_head_with_other_signs_is_led_to_its_own_column(head, meant):
    """Milliohm and megohm differ in a capital: the wrong one would be a slip of 10⁹."""
    faults = parse_sheet(f"mark,{head}\nA,1\n", "b.csv")[1]
    assert any(f"did you mean '{meant}'?" in str(f) for f in faults)


def test_a_spreadsheets_count_of_days_is_named_as_such():
    assert "a spreadsheet's own count of days" in parsed("46290", "rest_date")[1][0]


def test_a_no_break_blank_in_a_mark_is_a_blank():
    sheet, faults = parse_sheet("mark\nBox\u00a07\nBox  8\n", "b.csv")
    assert not faults and [r.mark for r in sheet.rows] == ["Box 7", "Box 8"]
    assert "stands already on line 2" in str(parse_sheet("mark\nM 1\nM\u00a01\n", "b.csv")[1][0])


def test_a_mark_pasted_with_a_no_break_blank_is_gone_on_with(tmp_path):
    (tmp_path / "b.csv").write_text("mark,mass_kg\nBox\u00a07,\n", "utf-8")
    session = open_session(tmp_path / "b.csv")
    answers = iter(["Box 7", "+", "33", ""])
    assert enter(session, lambda words: None, lambda words: next(answers)) == 1
    sheet, faults = parse_sheet((tmp_path / "b.csv").read_text("utf-8"), "b.csv")
    assert not faults and len(sheet.rows) == 1 and sheet.rows[0].mass.number == 33


@pytest.mark.parametrize("mark", ["07. Jul", "Jul-07", "7-Jul", "2026-07-07", "07.07.2026",
                                  "7/7/2026", "07. Mrz", "1.00E+05"])
def test_a_mark_that_a_spreadsheet_rewrote_is_asked_about(mark):
    found = lot_of(*(nmc(f"M-{i:02d}") for i in range(4)), nmc(mark))
    assert [q.mark for q in found.questions] == [mark]
    assert found.modules[-1].grade == "undecided" and found.modules[-1].bars


@pytest.mark.parametrize("mark", ["M-07", "12-Left", "3 Box", "Box 2026", "E12"])
def test_a_plain_mark_is_not(mark):
    assert LIKE_A_DAY.fullmatch(mark) is None


def test_marks_that_are_all_days_are_the_users_own():
    assert lot_of(nmc("2026-07-07"), nmc("2026-07-08")).questions == ()


@pytest.mark.parametrize(("charge", "asked"), [("0.5", "50.00 %"), ("1", "100.0 %"), ("50", "")])
def test_a_share_where_per_cent_was_meant_is_asked_about(charge, asked):
    found = [str(q) for q in lot_of(nmc("A", resistance_charge_percent=charge)).questions]
    assert bool(found) is bool(asked)
    assert all(f"is {asked} meant?" in line for line in found)


def test_the_types_of_a_brief_may_be_named():
    assert types_of(None) == () and [t.id for t in types_of(brief(2))] == ["nmc-6s-240ah"]


def test_a_row_made_by_hand_has_a_rest_voltage_of_its_own():
    row = row_of()
    assert row.at_rest.voltage is row.rest_voltage and row.at_rest.date == "2026-03-01"

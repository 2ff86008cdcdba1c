"""Inputs chosen to break the tool: two types in one pack, branch fuses, impossible data sheets.

Every brief and part is invented.
"""

from __future__ import annotations

import copy

import pytest
from click.testing import CliRunner
from packcalc.cli import main
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.errors import InputErrors
from packcalc.pack import fault_side
from packcalc.findings import leaf
from packcalc.mixes import mixed_capacity, with_pairs
from packcalc.pack import model_pack
from packcalc.part_checks.fuse import FuseDemand, fuse_part_checks
from packcalc.parts import AGAINST_SPANS, COLUMNS, SPANS
from packcalc.protect import branch_figures as bf
from packcalc.protect import branches as br
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.parts_list import parts_from_text
from packcalc.study import list_layouts

from tests.briefs import DATA

LARGE = {"label": "6s 240 Ah NMC", "count": 14, "state_of_health": "100 %",
         "resistance_growth": 1.0, "peak_current": "600 A", "continuous_current": "300 A"}
SMALL = LARGE | {"label": "6s 120 Ah NMC", "state_of_health": "90 %"}


def two(first, second, mix, **battery):
    data = copy.deepcopy(DATA) | {"modules": [first, second], "mix": mix}
    data["inverter"] |= {"voltage_range": "230 V to 430 V", "full_power_from": "235 V"}
    data["power"] = {"peak": "30 kW", "peak_duration": "10 s", "continuous": "10 kW"}
    data["battery"] |= battery
    return brief_from_data(data, "test")


def rows(study, label):
    """Every layout of one label: (entry of its first part, figures, model)."""
    return [(study.layout(i).parts[0].entry, study.row(i), model_pack(study.brief, study.layout(i)))
            for i in range(len(study)) if study.layout(i).label == label]


# -- stored energy of two types ----------------------------------------------------------------

def test_side_by_side_stores_what_both_types_store():
    # 14 of 240 Ah and 14 of 120 · 0.9 = 108 Ah: mean 174 Ah a module, where 108 is asked for
    study = list_layouts(two(LARGE, SMALL, "parallel"))
    alone = {entry: row for entry, row, _ in rows(study, "14S1P")}
    both = [r for r in rows(study, "14S2P") if r[0] == 2]
    assert both
    for _, row, pack in both:
        assert row["total_energy"] == pytest.approx(
            alone[0]["total_energy"] + alone[1]["total_energy"], rel=1e-3)
        assert pack.total_energy.number == pytest.approx(row["total_energy"])
        assert row["usable_energy"] == pytest.approx(2 * alone[1]["usable_energy"], rel=1e-3)


def test_most_energy_rules_out_two_types_where_one_of_them_is_too_much():
    study = list_layouts(two(LARGE, SMALL, "parallel", energy_most="65 kWh"))
    assert rows(study, "14S1P") and not [r for r in rows(study, "14S1P") if r[0] == 0]
    assert not [r for r in rows(study, "14S2P") if r[0] == 2]


def test_no_more_of_the_larger_type_is_counted_than_there_are():
    # a third of the modules: (4·100 + 8·70) / 12 = 80
    assert float(mixed_capacity(100.0, 1.0, 100.0, 0.7, 4, 12)) == pytest.approx(80.0)
    assert float(mixed_capacity(100.0, 1.0, 100.0, 0.7, 40, 12)) == pytest.approx(100.0)


def test_in_series_each_type_stores_by_its_own_capacity():
    # 7 of 240 Ah and 7 of 130 Ah: mean 185 Ah of 14 modules, against twice 130 Ah before
    brief = two(LARGE | {"count": 7}, LARGE | {"count": 7, "label": "6s 130 Ah NMC"}, "series")
    study = list_layouts(brief)
    alone = list_layouts(two(LARGE, SMALL, "no"))
    whole = {entry: row for entry, row, _ in rows(alone, "14S1P")}[0]
    found = rows(study, "7S+7S1P")
    assert found
    for _, row, pack in found:
        assert row["total_energy"] == pytest.approx(whole["total_energy"] * 185 / 240, rel=1e-3)
        assert pack.total_energy.number == pytest.approx(row["total_energy"])
        assert row["usable_energy"] == pytest.approx(whole["usable_energy"] * 130 / 240, rel=1e-3)


def test_the_stiff_type_of_two_counts_in_the_highest_fault():
    brief = with_pairs(two(LARGE | {"resistance_growth": 1.5}, LARGE | {"resistance_growth": 0.8},
                           "parallel"))
    both = brief.modules[2]
    assert both.resistance_growth.number == 1.5 and both.least_growth.number == 0.8
    assert fault_side(both).number == pytest.approx(fault_side(brief.modules[1]).number)
    assert fault_side(both).number < 0.9 * fault_side(brief.modules[0]).number
    study = list_layouts(brief)
    alone = {entry: pack.resistance_initial.number for entry, _, pack in rows(study, "14S1P")}
    assert set(alone) == {0, 1}  # no string of both types
    for entry, _, pack in rows(study, "14S2P"):
        # two beside each other, one of them at most as stiff as it can be
        assert entry == 2 and 2 * pack.resistance_initial.number == pytest.approx(alone[1])
        assert 2 * pack.resistance_initial.number < 0.9 * alone[0]
    assert rows(study, "14S2P")


# -- fuses ------------------------------------------------------------------------------------

SHEET = {
    "rated_voltage_dc": "500 V", "rated_current": "40 A", "class": "gR",
    "breaking_capacity": "50 kA", "permitted_time_constant": "500 V: 15 ms",
    "melting": "0.001 s: 640 A; 0.1 s: 224 A; 10 s: 122 A",
    "clearing": "0.001 s: 880 A; 0.1 s: 264 A; 10 s: 136 A", "melting_i2t": "384 A2s",
    "clearing_i2t": "1200 A2s", "clearing_i2t_at": "500 V", "cut_off_current": "1600 A",
    "arc_voltage": "950 V", "watt_loss": "4 W", "derating_method": "A",
    "link_constant": "130 degC", "rating_ambient": "25 degC", "fluctuation_factor": "0.6",
    "conductor_factor": "0.95", "cyclic_share": "100000: 0.4", "terminal_limit": "120 degC",
}


def listed(kind="fuse", **cells):
    """The text of a list of one part; None leaves a cell empty."""
    cells = {k: v for k, v in cells.items() if v is not None}
    quoted = (f'"{v}"' for v in cells.values())
    return f"kind,name,{','.join(cells)}\n{kind},P,{','.join(quoted)}\n"


def fuse(**changed):
    return parts_from_text(listed(**(SHEET | changed))).fuses[0]


def f(value, unit, title="figure"):
    return leaf(title, "x", unit, value, "given")


def branch(part, load=18.0):
    sheet = bf.BranchFuse(
        part.name, part.rated_current, part.rated_voltage_dc, part.breaking_capacity,
        part.melting_i2t or f(None, "A²s"), part.clearing_i2t, f(190.0, "A"), part.arc_voltage,
        part)
    return br.size_branch(bf.BranchAsked(
        name="heater", kind="heater", power=f(None, "kW"), current=f(load, "A"),
        lowest_bus=f(250.0, "V"), length=f(2.5, "m"), tap_length=f(0.08, "mm"),
        section=f(4e-6, "mm²"), insulation_voltage=f(600.0, "V"),
        insulation_class=f(378.15, "°C"), fused_poles="both", fuse=sheet,
        capacitance=f(50e-6, "mF"), highest_voltage=f(410.0, "V"), fault_highest=f(20e3, "A"),
        upstream_long=f(0.150, "mΩ"), voltage_empty=f(300.0, "V"),
        closing_difference=f(20.5, "V"), link_feeds=True, ambient=f(323.15, "°C")))


def named(checks, words):
    return next(c for c in checks if words in c.title)


@pytest.mark.parametrize("load, verdict", [(19.0, PASS), (20.0, FAIL), (40.0, FAIL)])
def test_a_branch_fuse_is_derated_like_the_main_fuse(load, verdict):
    # √((130 − 50)/(130 − 25)) · 0.6 · 0.95 = 0.4975: 40 A carry 19.9 A in 50 °C air
    # [semiconductor-fuse-guide, pages 35 and 37]
    assert named(branch(fuse(), load).checks, "carries the load").verdict == verdict


@pytest.mark.parametrize("load, verdict", [
    (20.0, NOT_EVALUATED),   # 20 / (√(80/105) · 0.58) = 39.5 A [semiconductor-fuse-guide, p. 35]
    (20.5, CAUTION), (41.0, FAIL)])
def test_a_branch_fuse_without_a_sheet_is_never_derated_to_a_pass(load, verdict):
    bare = bf.fuse_without_sheet(f(40.0, "A"))
    asked = bf.BranchAsked(
        name="heater", kind="heater", power=f(None, "kW"), current=f(load, "A"),
        lowest_bus=f(250.0, "V"), length=f(2.5, "m"), tap_length=f(0.08, "mm"),
        section=f(4e-6, "mm²"), insulation_voltage=f(600.0, "V"),
        insulation_class=f(378.15, "°C"), fused_poles="both", fuse=bare,
        capacitance=f(50e-6, "mF"), highest_voltage=f(410.0, "V"), fault_highest=f(20e3, "A"),
        upstream_long=f(0.150, "mΩ"), voltage_empty=f(300.0, "V"), ambient=f(323.15, "°C"))
    check = named(br.size_branch(asked).checks, "carries the load")
    assert check.verdict == verdict
    assert verdict == FAIL or "ask for the fuse's sheet" in check.reason


OTHER = {"conductor_factor": "0.8", "fluctuation_factor": "0.5", "link_constant": "120 degC",
         "rating_ambient": "20 degC", "derating_method": None, "watt_loss": "40 W",
         "terminal_limit": "85 degC", "cut_off_current": "30 kA", "melting_i2t": "100 A2s"}


@pytest.mark.parametrize("name", OTHER)
def test_a_column_of_a_branch_fuse_changes_a_check(name):
    before, after = branch(fuse()).checks, branch(fuse(**{name: OTHER[name]})).checks
    assert [(c.verdict, c.figure and c.figure.value, c.demand and c.demand.value) for c in before] \
        != [(c.verdict, c.figure and c.figure.value, c.demand and c.demand.value) for c in after]


@pytest.mark.parametrize("name", OTHER)
def test_an_empty_cell_of_a_branch_fuse_is_a_question(name):
    before = sum(c.verdict == NOT_EVALUATED for c in branch(fuse()).checks)
    empty = branch(fuse(**{name: None})).checks
    assert sum(c.verdict == NOT_EVALUATED for c in empty) > before


def test_terminals_and_cut_off_of_a_branch_fuse_caution():
    checks = branch(fuse(terminal_limit="85 degC", cut_off_current="30 kA")).checks
    assert named(checks, "terminals").verdict == named(checks, "limits the peak").verdict == CAUTION


def main_checks(**changed):
    return fuse_part_checks(fuse(**changed), FuseDemand(
        f(410.0, "V"), f(20e3, "A"), f(300.0, "A"), f(0.002, "ms"), f(1.0, "s"), f(15.0, "A"),
        f(40.0, "A"), f(1.0, "s"), f(323.15, "°C"), f(100000.0, "")))


@pytest.mark.parametrize("name", ["link_constant", "rating_ambient", "fluctuation_factor",
                                  "derating_method"])
def test_no_continuous_load_passes_on_a_published_default(name):
    words = "Carries the continuous load"
    assert named(main_checks(), words).verdict == PASS
    check = named(main_checks(**{name: None}), words)
    assert check.verdict == NOT_EVALUATED and "ask for" in check.reason and name in check.reason
    assert named(main_checks(**{name: None, "conductor_factor": "0.5"}), words).verdict == FAIL


def test_no_peaks_pass_on_a_published_share():
    assert named(main_checks(), "Endures the peaks").verdict == PASS
    check = named(main_checks(cyclic_share=None), "Endures the peaks")
    assert check.verdict == NOT_EVALUATED and "cyclic_share" in check.reason


# -- data sheets that cannot be -----------------------------------------------------------------

@pytest.mark.parametrize("melting, clearing", [
    # apart in current: at 1 s the link melts at 1000 A, and would clear at 400 A
    ("0.1 s: 2000 A; 10 s: 800 A", "0.1 s: 700 A; 10 s: 300 A"),
    # apart in time as well: melts at 800 A in 10 s, and would clear 500 A in 1 s
    ("5 s: 900 A; 10 s: 800 A", "0.1 s: 600 A; 1 s: 500 A"),
])
def test_curves_apart_in_current_are_held_at_equal_times(melting, clearing):
    with pytest.raises(InputErrors, match="parts:2: clearing: the clearing curve lies below"):
        parts_from_text(listed(melting=melting, clearing=clearing, rated_current="100 A"))


CABLE = {"section": "95 mm2", "insulation_class": "150 degC", "resistance_per_length":
         "0.206 mohm/m", "current_at_ambient": "40 degC: 410 A; 85 degC: 290 A"}


@pytest.mark.parametrize("kind, name, cell, words", [
    ("fuse", "cyclic_share", "100000: 1.2", "'1.2' is not plausible"),
    ("fuse", "cyclic_share", "100000: 0", "'0' is not plausible"),
    ("fuse", "link_constant", "9999 degC", "is not plausible; between 60.00 °C and 400.0 °C"),
    ("fuse", "rated_voltage_dc", "5000000 V", "is not plausible"),
    ("fuse", "clearing_i2t", "500 A2s", "is less than the clearing curve lets through"),
    ("fuse", "melting", "0.001 s: 6400000 A; 10 s: 122 A", "is not plausible"),
    ("contactor", "opening_time", "0.02 ms", "is not plausible; between 1.000 ms"),
    ("cable", "resistance_per_length", "0.1 mohm/m", "is less than copper of 95.00 mm² has"),
    ("cable", "current_at_ambient", "40 degC: 4100 A", "is not plausible for 95.00 mm²"),
    ("cable", "current_at_ambient", "150 degC: 41 A", "as hot as the insulation may be"),
])
def test_an_impossible_figure_is_refused_by_row_and_column(kind, name, cell, words):
    sheet = {"fuse": SHEET, "contactor": {}, "cable": CABLE}[kind]
    parts_from_text(listed(kind, **(sheet or {"poles": "1"})))
    with pytest.raises(InputErrors) as caught:
        parts_from_text(listed(kind, **(sheet | {name: cell})))
    told = [str(fault) for fault in caught.value.faults]
    assert len(told) == 1 and told[0].startswith(f"parts:2: {name}") and words in told[0]


# -- what the brief names -----------------------------------------------------------------------

BRIEF = """[[modules]]
label = "12s 160 Ah NMC"
count = 16
[inverter]
voltage_range = "260 V to 430 V"
[power]
peak = "60 kW"
"""


@pytest.mark.parametrize("text, told", [
    (None, "brief.toml:9: bench.file: "), ("just words\nand more\n", "bench.csv:1: ")])
def test_check_tells_what_is_wrong_with_the_bench_sheet(tmp_path, text, told):
    (tmp_path / "brief.toml").write_text(BRIEF + '[bench]\nfile = "bench.csv"\n', "utf-8")
    if text is not None:
        (tmp_path / "bench.csv").write_text(text, "utf-8")
    result = CliRunner().invoke(main, ["check", str(tmp_path / "brief.toml"), "--quiet"])
    assert result.exit_code == 2 and told in result.output
    assert "Nothing is wrong" not in result.output


def test_a_folder_as_parts_list_is_told_at_its_entry(tmp_path):
    (tmp_path / "brief.toml").write_text(BRIEF + '[parts]\nfile = ".."\n', "utf-8")
    with pytest.raises(InputErrors) as caught:
        read_brief(tmp_path / "brief.toml")
    fault, = caught.value.faults
    assert fault.file.endswith("brief.toml") and (fault.line, fault.key) == (9, "parts.file")
    assert "is a folder" in fault.wrong


def test_the_battery_side_has_a_name_of_its_own():
    study = list_layouts(two(LARGE, SMALL, "no"))
    pack = model_pack(study.brief, study.layout(0))
    assert pack.highest_voltage.title == "highest voltage of the battery side"


def test_every_figure_of_a_part_has_a_plausible_span():
    forms = {form: {c.name for c in COLUMNS if c.form == form} for form in ("quantity", "points")}
    assert set(SPANS) == forms["quantity"] | forms["points"]
    assert set(AGAINST_SPANS) == forms["points"]

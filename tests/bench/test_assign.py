"""From a brief and a bench sheet to the build list, its plan and its document."""

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner

from packcalc import cli_assign
from packcalc.bench import assign as asg
from packcalc.bench.balance import Standing, charge_from_voltage, plan_balance
from packcalc.bench.grade import grade_sheet
from packcalc.brief import WantedPins
from packcalc.errors import UserError
from packcalc.reading.bench_sheet import parse_sheet
from packcalc.reading.brief_file import brief_from_data
from packcalc.reading.library import record
from packcalc.report.assign_report import assignment_document
from packcalc.report.cautions import CAUTIONS
from packcalc.report.render import render
from packcalc.study import find_layout

HEAD = ("mark,capacity_Ah,capacity_rate_per_h,capacity_temperature_degC,resistance_mohm,"
        "resistance_current_A,resistance_pulse_s,resistance_temperature_degC,"
        "resistance_charge_percent,rest_voltage_V,rest_temperature_degC,insulation_Mohm,"
        "insulation_voltage_V,lowest_cell_V,highest_cell_V,crash,water,donor")
BENCH = {"demand_selfdischarge": "no"}


def brief(count=36, record_="nmc-6s-240ah", **bench):
    return brief_from_data({
        "modules": [{"record": record_, "count": count, "state_of_health": "90 %",
                     "resistance_growth": 1.2}],
        "inverter": {"voltage_range": "240 V to 420 V", "absolute_maximum": "450 V",
                     "full_power_from": "265 V"},
        "power": {"peak": "110 kW", "peak_duration": "10 s", "continuous": "42 kW"},
        "battery": {"energy_least": "100 kWh", "coldest_start": "10 degC",
                    "charge_lowest": "12 %"},
        "bench": BENCH | bench})


def sheet(count=36, seed=3, volts=22.3, open_=()):
    """An invented lot; `open_` lists rows without a capacity."""
    rng = np.random.default_rng(seed)
    lines = [HEAD]
    for i in range(count):
        weak = rng.random() < 0.1
        q = 221 * (0.88 + 0.03 * rng.standard_normal() if weak else
                   1 + 0.02 * rng.standard_normal())
        r = 1.85 * (1 + 0.08 * rng.standard_normal())
        v = volts + rng.normal(0, 0.04)
        q = "" if i in open_ else f"{q:.2f}"
        lines.append(f"M{i + 1:02d},{q},0.2,25,{r:.3f},100,10,25,50,{v:.3f},20,550,1000,"
                     f"{v / 6 - 0.002:.3f},{v / 6 + 0.002:.3f},no,no,A")
    return "\n".join(lines) + "\n"


def study(asked=None, text=None, layout="16S2P", arrangement="", **bench):
    asked = asked or brief(**bench)
    read, faults = parse_sheet(text or sheet(), "bench.csv", asked.modules[0].module)
    assert not faults
    lot = grade_sheet(read, brief=asked)
    return asg.assign_modules(asked, lot, find_layout(asked, layout, arrangement))


@lru_cache(maxsize=None)
def usual(arrangement=""):
    """The study of the usual lot; dealt once for all tests that only read it."""
    return study(arrangement=arrangement)


def two_types():
    """Thirty-six modules of the layout's type and four of another, all invented."""
    asked = brief()
    other = brief(4, "nmc-8s-150ah").modules[0]
    asked = replace(asked, modules=(replace(other, state_of_health=replace(
        other.state_of_health, value=0.5)), asked.modules[0]))
    head, *rows = sheet().splitlines()
    lines = [f"{head},module", *(f"{row},nmc-6s-240ah" for row in rows)]
    for i in range(4):
        cells = dict(zip(head.split(","), rows[i].split(","), strict=True))
        cells |= {"mark": f"X{i}", "capacity_Ah": "140", "rest_voltage_V": "29.7",
                  "resistance_mohm": "3.5"}
        lines.append(",".join([*cells.values(), "nmc-8s-150ah"]))
    return asked, "\n".join(lines) + "\n"


def test_of_several_types_the_one_in_the_layout_is_dealt_and_the_others_are_named():
    asked, text = two_types()
    read, faults = parse_sheet(text, "bench.csv")
    assert not faults
    found = asg.assign_modules(asked, grade_sheet(read, brief=asked),
                               find_layout(asked, "16S2P", "", 1))
    assert {p.dealt.graded.row.module.id for p in found.places} == {"nmc-6s-240ah"}
    assert found.notes[0] == ("The layout is made of nmc-6s-240ah: 4 other modules on the sheet "
                              "(nmc-8s-150ah) are left out.")


def test_what_is_expected_of_a_module_follows_its_own_entry_of_the_brief():
    asked, text = two_types()
    head, *rows = text.splitlines()
    bare = [",".join([row.split(",")[0], "", *row.split(",")[2:]]) for row in rows]
    read, faults = parse_sheet("\n".join([head, *bare]) + "\n", "bench.csv")
    assert not faults
    lot = grade_sheet(read, brief=asked)
    dealt = asg.candidates(asked.modules[1], lot, True)
    assert dealt and not dealt[0].measured[0]
    assert dealt[0].capacity.number > 0.8 * asked.modules[1].module.capacity.number


def test_the_chains_of_a_large_lot_end_at_the_modules():
    def page(found):
        return " ".join(render(assignment_document(found), "text").split())

    cool = sheet(96).replace(",100,10,25,50,", ",100,10,18,50,")  # so that resistance is corrected
    large, small = study(brief(96), cool, "16S5P"), study(brief(96), cool, "16S2P")
    step = "resistance ratio between two temperatures"
    assert len(large.places) == 80
    assert page(small).count(step) > 32  # thirty-two modules, each unfolded
    shown = page(large)
    # Two of them are the middle pair that a module better than new is counted like.
    assert shown.count(step) < 8 + 2
    assert "The chains below end at each module's reading at common conditions" in shown
    for p in large.places:
        assert f"bench.csv:{p.dealt.graded.row.line}" in shown


def test_every_place_holds_one_good_module():
    found = usual()
    marks = [p.dealt.mark for p in found.places]
    assert len(marks) == 32 and len(set(marks)) == 32
    assert {d.mark for d in found.spare}.isdisjoint(marks)
    assert all(p.dealt.graded.grade == "keep" for p in found.places)
    assert found.assignment.proven


def test_totals_are_sums_of_the_readings():
    found = usual()
    held = {p.row: 0.0 for p in found.places}
    for p in found.places:
        held[p.row] += p.dealt.capacity.number
    assert [q.number for q in found.totals.groups] == pytest.approx(list(held.values()))
    assert found.totals.capacity.number == pytest.approx(min(held.values()))
    r = sum(1 / sum(1 / p.dealt.resistance.number for p in found.places if p.row == row)
            for row in held)
    assert found.totals.resistance.number == pytest.approx(r)
    leaves = {leaf.title for leaf in found.totals.capacity.leaves()}
    assert "capacity as measured" in leaves


def test_it_beats_arrival_and_slices():
    trades = {t.name: t for t in usual().outlook.trades}
    own = trades["this answer"].capacity
    assert own > trades["order of arrival: this answer's modules"].capacity
    assert own > trades["order of arrival: the first 32 of 36"].capacity
    assert own > trades["sorted by capacity and sliced: this answer's modules"].capacity
    assert trades["even sharing: sorted by R·Q"].worst_share < trades["this answer"].worst_share


def test_strings_are_sorted_and_sliced():
    found = usual("strings")
    assert found.assignment.arrangement == "strings" and found.assignment.proven
    weakest = [min(p.dealt.capacity.number for p in found.places if p.row == row)
               for row in (0, 1)]
    assert found.totals.capacity.number == pytest.approx(sum(weakest))
    assert found.together.moments[0].currents.shape == (2, 16)


def test_pins_and_boxes_are_kept_and_priced():
    found = study(pins_together=[["M01", "M02"]], pins_not_in=[["M03", "rear"]],
                  boxes={"rear": [9, 16]})
    rows = {p.dealt.mark: p.row for p in found.places}
    assert rows.get("M01") == rows.get("M02")
    assert rows.get("M03", 0) < 8
    whats = [w.what for w in found.outlook.what_ifs]
    assert "without the pin M01 with M02" in whats and "without the pin M03 not in rear" in whats


@pytest.mark.parametrize("bench, words", [
    ({"pins_together": [["M01", "M99"]]}, "bench.pins_together: M99 is no module of bench.csv"),
    ({"pins_not_in": [["M03", "rear"]], "boxes": {"rear": [9, 20]}},
     "box 'rear' reaches to place 20, but 16S2P has 16 places"),
    ({"sharing": "even", "pins_together": [["M03", "M04"]]}, "cannot keep pins"),
])
def test_pins_that_cannot_be_met_are_refused(bench, words):
    with pytest.raises(UserError, match=words):
        study(**bench)


@pytest.mark.parametrize("bench, words", [
    ({"pins_together": "M01"}, "bench.pins_together"),
    ({"pins_not_in": [["M03", "rear"]]}, "names no box of bench.boxes"),
    ({"boxes": {"rear": [9]}}, "bench.boxes"),
])
def test_pins_of_the_wrong_shape_are_told(bench, words):
    with pytest.raises(UserError, match=words):
        brief(**bench)


def test_fewer_good_modules_than_places_are_told_in_one_line():
    with pytest.raises(UserError, match=r"bench.csv: \d+ good modules of nmc-6s-240ah for 32 "
                                        r"places of 16S2P: \d+ short") as told:
        study(text=sheet(30))
    assert "\n" not in str(told.value)


def test_undecided_modules_count_only_on_request():
    text = sheet(34, open_=(0, 1, 2, 3, 4))
    with pytest.raises(UserError, match="bench.count_undecided"):
        study(text=text)
    found = study(text=text, count_undecided="yes")
    assert any(not p.dealt.measured[0] for p in found.places)
    assert any("expected of them, not at a reading" in note for note in found.notes)
    assert any(s.what.startswith("measure the capacity") for s in found.sureness.sharpeners)


def test_the_note_on_measurement_error_is_there():
    assert "more than the last steps" in usual().notes[0]


def test_what_to_replace_first_is_the_weakest_placed():
    found = usual()
    weakest = min(found.places, key=lambda p: p.dealt.capacity.number).dealt.mark
    assert weakest in [w.what for w in found.outlook.replace_first]


def test_a_spare_that_fits_keeps_the_packs_capacity():
    found = usual()
    spare = {d.mark: d.capacity.number for d in found.spare}
    for s in found.outlook.successors:
        assert all(spare[mark] >= s.least - 1e-6 for mark in s.fits)


# --- before joining -------------------------------------------------------------------

def test_the_plan_moves_the_fewest_ampere_hours():
    found = usual().balance
    moved = sum(abs(s.move) for s in found.steps)
    assert 0 < found.target < 1 and moved > 0
    assert all(s.time == pytest.approx(abs(s.move) / s.current) for s in found.steps if s.move)
    assert {s.action for s in found.steps} <= {"charge", "drain", "leave"}


def test_a_low_module_is_charged_and_a_high_one_drained():
    module, current = record("nmc-6s-240ah"), usual().lot.bench.balance_current
    volts = (22.0, 22.3, 22.3, 22.6)
    plan = plan_balance(module, [Standing(f"M{i}", f"1.{i}", 0, v, 240 * 3600.0, 1.6e-3)
                                 for i, v in enumerate(volts)], current)
    assert [s.action for s in plan.steps] == ["charge", "leave", "leave", "drain"]
    low, high = charge_from_voltage(module, 22.0)
    assert plan.steps[0].move == pytest.approx((plan.target - (low + high) / 2) * 240 * 3600)
    assert plan.voltage == pytest.approx(22.3, abs=0.01)


def test_a_flat_curve_is_charged_fully():
    module, current = record("lfp-8s-100ah"), usual().lot.bench.balance_current
    plan = plan_balance(module, [Standing(f"M{i}", f"1.{i}", 0, 8 * 3.29, 100 * 3600.0, 2e-3,
                                          3.292) for i in range(4)], current)
    assert {s.action for s in plan.steps} == {"charge fully"}
    assert "cannot tell" in plan.sentence and np.isnan(plan.target)


def test_a_module_without_rest_voltage_is_to_be_measured():
    module, current = record("nmc-6s-240ah"), usual().lot.bench.balance_current
    plan = plan_balance(module, [Standing("M1", "1.1", 0, 22.3, 8e5, 1e-3),
                                 Standing("M2", "1.2", 0, None, 8e5, 1e-3)], current)
    assert plan.steps[1].action == "measure" and "measure first" in plan.sentence


# --- the document and the command -----------------------------------------------------

@pytest.mark.parametrize("form", ["text", "markdown", "html", "json", "csv"])
def test_the_document_renders(form):
    found = usual()
    text = render(assignment_document(found), form)
    assert found.places[0].dealt.mark in text
    assert form in ("json", "csv") or CAUTIONS[0][:20] in text


def test_the_plot_has_words_and_data_and_no_colour():
    document = assignment_document(usual())
    figure = next(b for b in document.blocks() if type(b).__name__ == "Figure")
    assert figure.text and figure.data is not None and len(figure.data.rows) == 16
    assert "stroke-dasharray" in figure.svg and "#" not in figure.svg


def test_the_same_input_gives_the_same_document():
    one, two = (render(assignment_document(found), "text") for found in (usual(), study()))
    assert one == two


BRIEF = """
[[modules]]
record = "nmc-6s-240ah"
count = 36
[inverter]
voltage_range = "240 V to 420 V"
absolute_maximum = "450 V"
[power]
peak = "90 kW"
peak_duration = "10 s"
[battery]
coldest_start = "15 degC"
[bench]
file = "bench.csv"
demand_selfdischarge = "no"
"""


def command():
    group = click.Group("packcalc")
    cli_assign.register(group)
    return group


def test_the_command_writes_a_build_list(tmp_path: Path):
    (tmp_path / "brief.toml").write_text(BRIEF)
    (tmp_path / "bench.csv").write_text(sheet())
    out = tmp_path / "assignment.json"
    ended = CliRunner().invoke(command(), ["assign", str(tmp_path / "brief.toml"), "--layout",
                                           "16S2P", "--out", str(out), "-q"])
    assert ended.exit_code in (0, 1), ended.output
    assert "build_list" in json.dumps(json.loads(out.read_text("utf-8")))


def test_a_brief_without_a_sheet_is_told(tmp_path: Path):
    (tmp_path / "brief.toml").write_text(BRIEF.replace('file = "bench.csv"', ""))
    ended = CliRunner().invoke(command(), ["assign", str(tmp_path / "brief.toml")])
    assert "no bench sheet: name one with --sheet" in str(ended.exception)


def test_wanted_pins_are_frozen():
    with pytest.raises(AttributeError):
        WantedPins().together = ()
    assert replace(WantedPins(), apart=(("a", "b"),)).apart == (("a", "b"),)

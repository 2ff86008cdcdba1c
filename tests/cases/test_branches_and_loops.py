"""Loops of branches and of the main path: what their own wires and fuses put into them, who ends
what no current trip tells from load, and what is said where a figure is only a bound.

Every brief is invented, or an invented example with entries changed; the arithmetic stands beside.
"""

from __future__ import annotations

import itertools
import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED
from packcalc.decisions import CHOICE, FIGURE, decisions
from packcalc.feeds import bus_capacitance, fault_capacitance
from packcalc.findings import leaf
from packcalc.parts import FUSE
from packcalc.places.slowest import Stretch, slowest
from packcalc.places.trips import opened_all_the_same, path_highest
from packcalc.protect import places as pl
from packcalc.protect.branch_figures import FUSE_LOSS, at_most
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.drawings.one_line import one_line_figure
from packcalc.report.places_report import headline, places_table
from packcalc.review_change import recheck
from tests.briefs import asked, module
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

COLD = 17.24e-3 * 184.5 / 254.5  # Ω·mm²/m: copper's straight line of IEC 60949, 20 °C to −50 °C
EVERY = "every fault current from pole to pole is opened, fuse and contactor overlapping"
FIXED = "a fixed current trip tells the lowest fault from the peak load"
OVEN, CHARGER = "oven of the round", "charger"
BARE = {"fuse_part": "", "fuse_rating": "32 A"}


@pytest.fixture(scope="module")
def van() -> ProtectionStudy:
    """Its charger's fuse is salvaged, without a sheet."""
    return study("van")


@pytest.fixture(scope="module")
def truck() -> ProtectionStudy:
    return study("truck")


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def item(found, key):
    return next(i for i in found.items if i.key == key)


def check(found, title):
    return next(c for _, c in found.checks if c.title == title)


def of_example(name: str, layout: str, arrangement: str, *, extra=(),
               **sections) -> ProtectionStudy:
    """An example with entries of sections changed and branches added."""
    path = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    for section, entries in sections.items():
        table = data["modules"][0] if section == "modules" else data[section]
        table.update(entries)
    data["branch"] += list(extra)
    return study_protection(brief_from_data(data, str(path)), layout, arrangement)


# -- a fuse of unknown resistance ----------------------------------------------------------------


@pytest.mark.parametrize("key", [f"branch.{CHARGER}.after", "inlet"])
def test_a_row_whose_lowest_current_is_only_a_bound_prints_no_bare_figure(van, key):
    at = place(van, key)
    assert at.lowest.note.startswith("at most this") and "power loss" in at.lowest.note
    table = places_table((at,))
    cell = table.rows[0][[c.key for c in table.columns].index("lowest_A")]
    assert cell.text == cell.data == f"at most {at.lowest.shown.removesuffix(' A')}"
    # the main fuse would open that current; less it need not
    assert at.at_lowest.clears is None and "it may be less" in at.at_lowest.why
    assert not at.shown and any("power loss" in note for note in at.loop.notes)


def test_a_bound_shows_no_device_to_act_and_still_shows_that_none_does():
    bound = leaf("lowest", "I", "A", 50.0, "given", note=at_most(FUSE_LOSS))
    one = leaf("voltage", "U", "V", 100.0, "given")
    loop = pl.Loop("k", "place", "all", one, leaf("highest", "I", "A", 900.0, "given"), bound,
                   one, one, one, (pl.Device("branch_fuse.x", "fuse of x", pl.FUSE),))
    ends = {answer: pl.fault_places(pl.PlacesAsked(
        (loop,), lambda *_, a=answer: (a, None, "so")))[0] for answer in (True, False, None)}
    assert [ends[a].at_lowest.clears for a in (True, False, None)] == [None, False, None]
    known = replace(loop, lowest=replace(bound, note=""))
    assert pl.fault_places(pl.PlacesAsked((known,), lambda *_: (True, None, "so")))[0] \
        .at_lowest.clears


def test_a_reviewers_change_to_a_bare_rating_says_that_its_figures_are_bounds(van):
    choice = next(d for d in decisions(van) if d.item == f"branch.{OVEN}" and d.kind == CHOICE)
    words = recheck(van, choice, "32 A").words
    # 3.5 m of 6 mm² at 105 °C, no fuse counted: 1415 A, where 1340 A were with 2.5 mΩ each
    assert "end of the branch at most 1415 A: the resistance of the branch's own fuse" in words
    assert "must open at most" in words and words.count("power loss at rated current") == 2


def test_a_reviewers_sheet_prints_the_bound_as_one():
    found = study("van", branch={OVEN: BARE})
    lines = [d for d in decisions(found) if d.item == f"branch.{OVEN}" and d.kind == FIGURE
             and ("lowest fault" in d.title or "must open" in d.title)]
    assert len(lines) == 2
    for line in lines:
        assert line.shown.startswith("at most") and "is not known" in line.shown


def test_a_curve_without_a_power_loss_is_no_pass_at_the_lowest_fault(van):
    part = van.brief.parts.list.part(FUSE, "Talvik 40 branch")
    listed = replace(van.brief.parts.list, parts=tuple(
        replace(p, watt_loss=None) if p is part else p for p in van.brief.parts.list.parts))
    brief = replace(van.brief, parts=replace(van.brief.parts, list=listed))
    found = study_protection(brief, "5S4P", "grouped")
    title = "Fuse opens at the lowest fault within 1 s"
    told = {f.key: next(c for c in f.checks if c.title == title)
            for f in found.items if f.key == f"branch.{OVEN}"}[f"branch.{OVEN}"]
    assert told.verdict == NOT_EVALUATED and "power loss" in told.reason


# -- the first screen ----------------------------------------------------------------------------


def test_a_chafed_wire_behind_an_unproven_fuse_is_named_on_the_first_screen():
    found = study("van", branch={OVEN: {**BARE, "fused_poles": "both"}})
    at = place(found, f"chassis.second.branch.{OVEN}")
    assert at.at_lowest.clears is None and [d.kind for d in at.loop.devices] == ["fuse"] * 2
    assert at.title in headline(found.circuit.places)
    # where nothing is shown anywhere only those are named that hang on fuses alone
    heater = {"kind": "heater", "length": "2 m", "section": "4 mm²", "power": "1 kW",
              "taps": "before the main fuse", "fuse_rating": "20 A", "fused_poles": "both",
              "capacitance": "0 mF"}
    bare = study_protection(asked(branch=[{**heater, "name": n} for n in ("left", "right")]))
    words = headline(bare.circuit.places)
    assert "among them with fuses alone in the loop: " in words
    assert place(bare, "chassis.second.branch.left").title in words
    assert place(bare, "terminals").title not in words


# -- the slowest loop ----------------------------------------------------------------------------


def test_the_slowest_loop_is_that_of_every_choice_of_conductors():
    draw = np.random.default_rng(3)
    per = leaf("L'", "L'", "µH/m", 1.3e-6, "given")
    for _ in range(60):
        lengths, sections = draw.uniform(0.5, 20.0, 4), draw.uniform(1.0, 200.0, 4)
        ohms = 2 * COLD * lengths / sections
        near, up = draw.uniform(1e-6, 2e-5), draw.uniform(1e-3, 1e-1)
        runs = [Stretch(leaf("l", "l", "m", a, "given"), leaf("R", "R", "mΩ", b, "given"))
                for a, b in zip(lengths, ohms, strict=True)]
        inductance, resistance = slowest(leaf("L", "L", "µH", near, "given"),
                                         leaf("R", "R", "mΩ", up, "given"), per, runs)
        every = [(near + 1.3e-6 * lengths[list(some)].sum()) / (up + ohms[list(some)].sum())
                 for n in range(5) for some in itertools.combinations(range(4), n)]
        assert inductance.number / resistance.number == pytest.approx(max(every), rel=1e-12)


def test_a_conductor_of_unknown_section_counts_with_its_inductance_alone():
    run = Stretch(leaf("l", "l", "m", 10.0, "given"), leaf("R", "R", "mΩ", None, "given"))
    inductance, resistance = slowest(
        leaf("L", "L", "µH", 20e-6, "given"), leaf("R", "R", "mΩ", 0.01, "given"),
        leaf("L'", "L'", "µH/m", 1.3e-6, "given"), [run])
    assert (inductance.number, resistance.number) == (pytest.approx(33e-6), 0.01)


def test_the_traction_cable_counts_with_its_own_least_resistance(truck):
    # 3.2 m of 185 mm², out and back
    up = truck.pack.resistance_initial.number
    tau = (20e-6 + 3.2 * 1.3e-6) / (up + 2 * 3.2 * COLD / 185)
    row = place(truck, "cable.battery to inverter").loop
    assert row.time_constant.number == pytest.approx(tau, rel=1e-9)
    assert truck.faults.time_constant_highest.number == pytest.approx(tau, rel=1e-9)
    # a cable that nobody named counts with none, which errs long
    path = ROOT / "examples/truck/brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    for route in data["cables"]["route"]:
        route.pop("cable")
    open_ = study_protection(brief_from_data(data, str(path)), "16S1P")
    assert place(open_, "cable.battery to inverter").loop.time_constant.number == pytest.approx(
        (20e-6 + 3.2 * 1.3e-6) / open_.pack.resistance_initial.number, rel=1e-9)


def test_a_tap_behind_the_contactors_may_be_at_the_cables_far_end(truck):
    # 2.2 m of 4 mm² are thin: the slowest is at its tap, behind 3.2 m of 185 mm²
    row = place(truck, "branch.DC/DC converter.after").loop
    assert row.time_constant.number == pytest.approx(
        (20e-6 + 3.2 * 1.3e-6) / (truck.pack.resistance_initial.number + 2 * 3.2 * COLD / 185),
        rel=1e-9)


def test_a_chafed_wire_is_one_conductor_of_its_own_resistance_in_the_loop():
    thick = {"length": "16 m", "section": "95 mm²", "fuse_part": "", "fuse_rating": "none"}
    found = study("truck", branch={"battery heater": thick})
    row, feeds = place(found, "chassis.second.branch.battery heater").loop, found.circuit.feeds
    one = feeds.module.resistance_initial.number
    # one module of 16, 16 m of one conductor
    tau = (20e-6 / 16 + 16 * 1.3e-6) / (one + 16 * COLD / 95)
    assert row.time_constant.number == pytest.approx(tau, rel=1e-9)
    assert any(f"{row.time_constant.shown}" in note for note in row.notes)


def test_the_sheets_ask_for_the_loops_of_a_chafed_wire(truck):
    """Contactors for that of each branch behind them, and the branch's own fuse for its own."""
    row = place(truck, "chassis.second.branch.charge cable")
    breaks = {d.key: d.breaks for d in row.loop.devices}
    assert breaks["wire_contactor"] == breaks["branch_fuse.charge cable"] != ()
    asked_ = next(f for f in item(truck, "contactors").duty if f.unit == "ms")
    full = max(breaks["wire_contactor"], key=lambda pair: pair[0].number)
    assert asked_.number == pytest.approx(full[1].number)
    assert asked_.number > truck.faults.time_constant_highest.number
    lines = [r.value for r in item(truck, "branch.charge cable").specification if "L/R" in r.what]
    # one module: 20/16 µH and 3.2 m of 185 mm²; 4.836 ms at 25.33 V, rounded up
    assert len(lines) == 1 and "; 4.84 ms at 25.4 V" in lines[0]


def test_a_chafed_wire_behind_the_contactors_counts_the_cables_at_its_lowest(truck):
    row, feeds = place(truck, "chassis.second.branch.DC/DC converter"), truck.circuit.feeds
    wire = 2 * 2.2 * 20.55e-3 * (234.5 + 105) / 254.5 / 4
    # the fuse of one wire, 2 W at 20 A; main fuse and contactor of that pole; the cables; the
    # contacts of disconnect and connectors, 0.1 mΩ and twice 0.05 mΩ (invented)
    outside = wire + 2.0 / 20 ** 2 + 0.5e-3 + 0.15e-3 + truck.pack.cable_allowance.number + 0.2e-3
    assert row.lowest.number == pytest.approx(feeds.module.voltage_empty.number / (
        feeds.module.resistance_long.number + outside), rel=1e-4)


def test_a_strong_module_among_weak_ones_gives_the_highest_current_of_a_chafed_wire():
    weak = module(id="invented-weak", title="invented weak", resistance="34 mΩ",
                  resistance_1khz="25 mΩ", count=4)
    heater = {"name": "heater", "kind": "heater", "length": "2 m", "section": "4 mm²",
              "power": "1 kW", "taps": "behind the contactors", "fuse_rating": "20 A",
              "fused_poles": "both", "capacitance": "0 mF"}
    brief = asked([module(count=4), weak], branch=[heater], mix="series")
    found = study_protection(brief, "4S+3S1P")
    row = place(found, "chassis.second.branch.heater").loop
    alone = found.circuit.feeds.module.highest.number
    assert alone > 1.5 * found.faults.highest.number
    assert row.highest.number == pytest.approx(alone)
    # and the range of fuse and contactors reaches as far as their loops do
    assert path_highest(found.faults.highest, [p.loop for p in found.circuit.places]).number \
        == pytest.approx(alone)
    assert found.coordination.asked.fault_highest.number == pytest.approx(alone)


# -- what a trip on the current does not tell from load ------------------------------------------

COLD_VAN = {"battery": {"coldest_closed": "-20 degC", "charge_lowest": "5 %"},
            "modules": {"resistance_growth": 2.0}}
ABOVE = "Lowest fault current above the peak load"


def test_a_fault_below_the_load_that_the_cells_trip_opens_is_a_caution():
    found = of_example("van", "5S4P", "grouped", **COLD_VAN)
    assert found.faults.lowest.number < found.pack.peak_current.number
    for title in (FIXED, ABOVE):
        told = check(found, title)
        assert told.verdict == CAUTION, title
        assert "opened all the same" in told.reason and "fall below 2.500 V" in told.reason
    blind = of_example("van", "5S4P", "grouped", **COLD_VAN, management={
        "undervoltage_trip": "unknown", "voltage_delay": "unknown"})
    assert {check(blind, title).verdict for title in (FIXED, ABOVE)} == {FAIL}


def test_the_cells_trip_must_be_reached_by_the_warmest_and_newest_pack_as_well():
    """One span that nobody opens between lowest and highest, and the failure stands."""
    found = of_example("van", "5S4P", "grouped", **COLD_VAN)
    load = found.pack.peak_current.number
    assert opened_all_the_same(found.circuit.places, load)
    least = place(found, "chassis.second.branch.charger")
    gap = pl.Cleared(pl.BETWEEN, least.loop.highest, pl.NOBODY, False, None, "", "above")
    torn = [replace(p, between=gap) if p is least else p for p in found.circuit.places]
    assert opened_all_the_same(torn, load) == ""
    # the truck's own trip is blind above 3000 A in a chassis loop that no fuse ends
    high = study("truck", management__trip_current="1200 A")
    assert check(high, FIXED).verdict == FAIL


def test_a_trip_set_above_the_lowest_fault_is_told_with_who_opens_it():
    found = study("van", management__trip_current="1400 A")
    told = check(found, FIXED)
    # 1400 A and 1 % of 4000 A
    assert (told.verdict, told.figure.number) == (CAUTION, 1440.0)
    assert "as set it misses" in told.reason and "contactor of that pole alone" in told.reason
    assert check(study("van", management__trip_current="1400 A", management__voltage_delay=None,
                       management__undervoltage_trip=None), FIXED).verdict == FAIL


# -- ranges --------------------------------------------------------------------------------------


def test_a_wire_that_keeps_its_cells_up_takes_no_span_from_the_poles():
    """The cells' trip opens from pole to pole what it sees there, whatever one wire keeps."""
    thin = {"length": "16 m", "section": "4 mm²", "fuse_rating": "none", "fuse_part": "",
            "taps": "behind the contactors"}
    found = study("truck", branch={"battery heater": thin}, path__main_fuse="one pole",
                  management__trip_current="unknown", management__overload_trip=None)
    row = place(found, "chassis.second.branch.battery heater")
    assert found.faults.lowest.number == row.lowest.number and not row.shown
    told = next(c for c in found.coordination.item.checks if c.title == EVERY)
    far = place(found, "cable.battery to inverter").lowest
    assert told.verdict == FAIL
    # 1190 A and more the trip of 2.7 V sees up to the fuse's 1800 A: 90 cells, path and cables
    assert f"from {row.lowest.shown} to {far.shown} nobody" in told.reason
    assert "1800 A nobody" not in told.reason
    seen = next(c for c in found.coordination.item.checks
                if c.title == "the undervoltage trip sees the lowest fault")
    assert seen.verdict == FAIL


def test_the_strings_devices_do_not_pass_while_nobody_opens_leaks_in_two_strings():
    found = study("minibus")
    told = next(c for c in found.circuit.inside_strings.item.checks if c.title == EVERY)
    assert told.verdict == CAUTION and told.figure.number == 2
    for key in ("fused", "bare"):
        assert place(found, f"chassis.second.strings.{key}").title in told.reason
    # a chafed cable passes the main fuse and one pole: it is held with the main path
    assert "pole's contactor is not shown" not in told.sentence


# -- capacitors ----------------------------------------------------------------------------------


def test_every_capacitor_empties_into_a_fault_whatever_the_contactors_part(truck):
    filled = study("truck", branch={"battery heater": {"capacitance": "0.9 mF"}})
    # it taps behind the main fuse, ahead of the contactors: never pre-charged, nor discharged
    assert bus_capacitance(filled.brief, False).number == pytest.approx(
        bus_capacitance(truck.brief, False).number)
    assert filled.circuit.feeds.capacitance.number == truck.circuit.feeds.capacitance.number

    def link(found, key="terminals"):
        return next(s for s in place(found, key).loop.sources if s.fades).current.number
    # 1.1, 0.06 and 0.02 mF, and 0.9 mF more: the peak goes with the root
    assert link(filled) / link(truck) == pytest.approx((2.08 / 1.18) ** 0.5)
    # backwards through the main fuse into the box, and its whole charge
    (back,), (more,) = (place(found, "box").loop.backward for found in (truck, filled))
    assert more.sees.number > 1.2 * back.sees.number
    assert fault_capacitance(filled.brief, False, beyond_main=True).number == pytest.approx(2.08e-3)
    ahead = study("truck", branch={"battery heater": {
        "capacitance": "0.9 mF", "taps": "before the main fuse"}})
    assert fault_capacitance(ahead.brief, False, beyond_main=True).number == pytest.approx(1.18e-3)
    assert link(ahead) == pytest.approx(link(filled))


# -- pictures ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name, layout", [("truck", ("16S1P", "")),
                                          ("minibus", ("12S2P", "strings"))])
def test_of_several_pre_charge_branches_the_picture_says_that_one_is_drawn(name, layout):
    data = tomllib.loads((ROOT / f"examples/{name}/brief.toml").read_text("utf-8"))
    wires = next(b for b in data["branch"] if b["kind"] == "pre-charge")
    found = of_example(name, *layout, extra=[{**wires, "name": "second pre-charge"}])
    figure = one_line_figure(found)
    assert "2 of these, one drawn" in " ".join(re.sub("<[^>]+>", " ", figure.svg).split())
    assert "pre-charge wires is drawn, and not second pre-charge" in figure.text
    plain = one_line_figure(of_example(name, *layout))
    assert "one drawn" not in plain.svg and "is drawn" not in plain.text


# -- a contactor in a loop slower than its breaking test ------------------------------------------


def test_a_contactor_is_not_counted_on_in_a_loop_slower_than_its_test():
    # Lyng 300 was tested at 2.5 ms; one module, 3.2 m of cable: 4.836 ms at 25.33 V
    found = study("truck", parts__contactor="Lyng 300")
    row = place(found, "chassis.second.own_side")
    assert row.at_lowest.clears is None
    assert "its breaking test had 2.5 ms, the loop has 4.836 ms at 25.33 V" in row.at_lowest.why
    # Lyng 500 stands 6.5 ms up to 60 V, and 2.5 ms at the whole pack's voltage
    good = place(study("truck"), "chassis.second.own_side")
    assert good.at_lowest.clears and "lowest cell" in good.at_lowest.device
    assert place(found, "terminals").at_lowest.clears


def test_the_trip_of_a_chassis_loop_meets_the_same_loops_as_its_contactor(truck):
    for found in (p.loop for p in truck.circuit.places if p.key.startswith("chassis.second")):
        by_key = {d.key: d.breaks for d in found.devices}
        for one in ("pole", "wire"):
            assert by_key.get(f"{one}_contactor") == by_key.get(f"{one}_cell_trip")

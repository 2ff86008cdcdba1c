"""What a protection engineer found on the third reading of the fault places; all data invented.

The currents of the two-string minibus are held against a network of our own, solved here by
nodal analysis: two strings of twelve equal modules, joined at both ends. Full and new, a module
has 16 cells · 4.2 V · 1.005 (the charger's tolerance) = 67.536 V behind 7.22 mΩ (the example's
invented record); a loop's time constant is L/R with the pack's 20 µH, a twelfth for each module.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, worst
from packcalc.place_sweep import sweeping_by
from packcalc.protect import places as pl
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.places_report import headline, places_table
from tests.cases.test_coordination_cases import f

pytestmark = pytest.mark.thorough

MODULES = 12
FULL, NEW = 16 * 4.2 * 1.005, 7.22e-3  # V, Ω
LOOP = 20e-6                            # H, the pack's own loop
# One conductor of the cable at −50 °C: 17.24 mΩ·mm²/m at 20 °C, straight line of IEC 60949, 234.5 K
POLE = 6.5 * 17.24e-3 / 95 * 184.5 / 254.5
# the cells' undervoltage trip of the example, 0.4 s, and the contactor's 15 ms
CELLS = 0.415


def study(branches: dict[str, dict] | None = None, without: tuple[str, ...] = (),
          **changes: Any) -> ProtectionStudy:
    """The minibus with entries "section__key" changed or left out, and branches by name."""
    brief = ROOT / "examples" / "minibus" / "brief.toml"
    data = tomllib.loads(brief.read_text("utf-8"))
    for branch in data["branch"]:
        branch.update((branches or {}).get(branch["name"], {}))
    for entry in without:
        section, _, key = entry.partition("__")
        data[section].pop(key)
    for entry, value in changes.items():
        section, _, key = entry.partition("__")
        data[section][key] = value
    return study_protection(brief_from_data(data, str(brief)), "12S2P", "strings")


@pytest.fixture(scope="module")
def minibus() -> ProtectionStudy:
    return study()


def place(found: ProtectionStudy, key: str) -> pl.FaultPlace:
    return next(p for p in found.circuit.places if p.key == key)


# -- a network of our own ----------------------------------------------------------------------


def node(string: int, modules: int) -> int:
    """A point of the network: the negative bus 0, the positive bus 1, else between two modules."""
    if modules in (0, MODULES):
        return modules // MODULES
    return 2 + string * (MODULES - 1) + modules - 1


def shorted(plus: int, minus: int, strings: int = 2) -> float:
    """Current between two points, by Thévenin: open voltage over the resistance seen there."""
    size = 2 + strings * (MODULES - 1)
    conductance, source = np.zeros((size, size)), np.zeros(size)
    for string in range(strings):
        for k in range(MODULES):
            low, high = node(string, k), node(string, k + 1)
            conductance[[low, high], [low, high]] += 1.0 / NEW
            conductance[[low, high], [high, low]] -= 1.0 / NEW
            source[high] += FULL / NEW
            source[low] -= FULL / NEW
    inner = conductance[1:, 1:]  # the negative bus is the zero of all voltages
    unit = np.zeros(size)
    unit[plus] += 1.0
    unit[minus] -= 1.0
    open_, seen = (np.r_[0.0, np.linalg.solve(inner, one[1:])] for one in (source, unit))
    return float((open_[plus] - open_[minus]) / (seen[plus] - seen[minus]))


def run(modules: int) -> float:
    """The lowest modules of one string, shorted at their ends."""
    return shorted(node(0, modules), 0)


def test_the_network_itself():
    # one string alone gives E/R between any two of its points; two give twice that at the bus
    assert shorted(node(0, 5), node(0, 2), strings=1) == pytest.approx(FULL / NEW)
    assert shorted(1, 0) == pytest.approx(2.0 * FULL / NEW)
    # wherever in the string the run lies
    assert shorted(node(0, 9), node(0, 3)) == pytest.approx(run(6))


@pytest.mark.parametrize("key, modules", [("module", 1), ("section", 6),
                                          ("chassis.second.inside", 12)])
def test_a_short_inside_a_string_is_fed_by_the_other_string_too(minibus, key, modules):
    # section: 9354 A of its own, and 405.2 V over 18 · 7.22 mΩ = 3118 A
    found = place(minibus, key)
    assert found.loop.highest.number == pytest.approx(run(modules), rel=1e-9)
    assert found.highest.number >= run(modules) * (1.0 - 1e-9)
    assert found.nobody


@pytest.mark.parametrize("key, modules, amperes",
                         [("string.module", 1, 406.7), ("string.section", 6, 3118.0),
                          ("string", 12, 9354.0)])
def test_the_part_that_the_other_string_pushes_is_what_the_run_does_not_give(
        minibus, key, modules, amperes):
    loop = place(minibus, key).loop
    assert loop.highest.number == pytest.approx(run(modules) - FULL / NEW, rel=1e-9)
    assert loop.highest.number == pytest.approx(amperes, rel=1e-3)
    # one loop: the same resistance in the current and beside its inductance, of as many modules
    # as the current passes, here 24 − n of them
    resistance = modules * FULL / loop.highest.number
    assert resistance == pytest.approx((2 * MODULES - modules) * NEW)
    assert loop.time_constant.number == pytest.approx(loop.inductance.number / resistance)
    assert loop.inductance.number == pytest.approx(LOOP * (2 * MODULES - modules) / MODULES)


def test_the_pushed_part_has_a_device_and_the_rest_has_none(minibus):
    section = place(minibus, "section")
    (pushed,) = section.others
    assert pushed.end == "from the other strings"
    assert pushed.current.number == pytest.approx(run(6) - FULL / NEW)
    assert pushed.clears and pushed.device == "fuse of the faulted string"
    assert section.at_highest.clears is False
    assert "other strings" in section.loop.feeds


def test_three_strings_push_through_one():
    """The others stand side by side: 6 modules left and 12/2 of two other strings."""
    network = shorted(node(0, 6), 0, strings=3)
    assert network == pytest.approx(FULL / NEW + 6 * FULL / (12 * NEW))


def test_without_a_break_the_section_is_the_string_and_is_not_told_twice():
    found = study(without=("pack__disconnect_after", "pack__fuse_after"))
    keys = [p.key for p in found.circuit.places]
    assert "string.section" not in keys and "string.module" in keys
    assert place(found, "section").loop.highest.number == pytest.approx(run(12))


# -- the time constant of the highest current --------------------------------------------------


@pytest.mark.parametrize("key, cables", [("inside", 0.0), ("fused_pole", 6.5 * 1.3e-6)])
def test_a_chassis_row_prints_its_slowest_loop_beside_its_highest_current(minibus, key, cables):
    found = place(minibus, f"chassis.second.{key}").loop
    assert found.highest.number == pytest.approx(run(12), rel=1e-9)
    # 12, 6, 3, 2 or 1 modules: a twelfth of 20 µH each (and 6.5 m of cable at 1.3 µH/m) over n
    # times 67.54 V / run(n) (and one conductor of 95 mm²)
    loops = {n: ((LOOP * n / 12 + cables), n * FULL / run(n) + (POLE if cables else 0.0))
             for n in (1, 2, 3, 6, 12)}
    inductance, loop = max(loops.values(), key=lambda one: one[0] / one[1])
    assert found.time_constant.number == pytest.approx(inductance / loop, rel=1e-9)
    assert found.inductance.number == pytest.approx(inductance)


def test_the_slowest_loop_is_told_with_its_own_current(minibus):
    # one module: (20/12 + 8.45) µH; 67.54 V at 9761 A are 6.919 mΩ, and 0.855 mΩ: 1.301 ms
    (words,) = (n for n in place(minibus, "chassis.second.fused_pole").loop.notes
                if n.startswith("slowest"))
    tau = (LOOP / 12 + 6.5 * 1.3e-6) / (FULL / run(1) + POLE)
    assert tau == pytest.approx(1.301e-3, rel=1e-3)
    assert "1 module between the two faults, 1.301 ms at 9761 A" in words


def test_the_fuse_is_held_against_every_run_with_the_other_string_in(minibus):
    fuse = next(d for d in place(minibus, "chassis.second.fused_pole").loop.devices
                if d.key == "main_fuse")
    for (voltage, tau), modules in zip(fuse.breaks, (1, 2, 3, 6, 12), strict=True):
        assert voltage.number == pytest.approx(modules * FULL)
        loop = modules * FULL / run(modules)
        assert tau.number == pytest.approx(max(  # near its contactor, or at the cable's far end
            LOOP * modules / 12 / loop, (LOOP * modules / 12 + 6.5 * 1.3e-6) / (loop + POLE)))


# -- every source in the branch's own fuse ------------------------------------------------------

SMALL = {"insulation monitor": {"fuse_part": "Talvik 20 high voltage branch", "fuse_rating": "20 A"}}


def test_a_branch_fuse_is_held_against_every_source(minibus):
    key = "branch.insulation monitor.after"
    good, small = place(minibus, key), place(study(SMALL), key)
    # 18.71 kA of the battery, 46.08 kA of link and branch capacitors, 60 A of the charger
    assert small.highest.number == pytest.approx(64850.0, rel=1e-3)
    assert good.at_highest.clears and good.at_highest.device == "fuse of insulation monitor"
    # 50 kA lie above the battery alone and below the sum; the named 2 A fuse breaks 100 kA
    assert small.at_highest.clears is False and worst(small.checks) == FAIL
    assert "50000 A" in small.at_highest.why and "every source" in small.at_highest.why
    # the main fuse would end the battery's part, but the burst fuse burns before it
    assert "main fuse" not in small.at_highest.device
    assert any("sum of every source" in r for r in small.remedies)


def test_branch_part_and_fault_place_agree():
    found = study(SMALL)
    item = next(i for i in found.items if i.key == "branch.insulation monitor")
    held = next(c for c in item.checks if "breaking capacity" in c.title)
    at = place(found, "branch.insulation monitor.after")
    assert held.verdict == FAIL and held.demand.number == pytest.approx(at.highest.number)


def test_it_is_held_where_the_section_and_so_the_lowest_current_is_open():
    found = study({"insulation monitor": SMALL["insulation monitor"] | {"section": "unknown"}})
    at = place(found, "branch.insulation monitor.after")
    assert not at.lowest.known and at.highest.number > 50000.0
    assert at.at_highest.clears is False and "burst" in at.at_highest.why


@pytest.mark.parametrize("sees, clears", [(99.9e3, True), (100.1e3, False), (None, True)])
def test_on_and_above_the_breaking_capacity(minibus, sees, clears):
    answers = _answers(minibus)
    loop = place(minibus, "branch.pre-charge wires.after").loop
    own, *rest = loop.devices
    own = replace(own, sees=None if sees is None else f("all", "A", sees))
    (found,) = pl.fault_places(pl.PlacesAsked((replace(loop, devices=(own, *rest)),), answers,
                                              sweeping_by(answers)))
    assert found.at_highest.clears is clears


def _answers(found: ProtectionStudy):
    from packcalc.clearing import clearing_by
    from packcalc.string_sweep import string_coordination
    inside = string_coordination(found.circuit.feeds, found.coordination,
                                 [p.loop for p in found.circuit.places])
    return clearing_by(found.coordination, found.brief, inside)


def test_far_sense_wires_are_fed_by_both_strings_and_the_bus(minibus):
    at = place(minibus, "branch.sense wires.after")
    item = next(i for i in minibus.items if i.key == "branch.sense wires")
    held = next(c for c in item.checks if "breaking capacity" in c.title)
    # 15.12 kA of the capacitors over 6.5 m of cable, 60 A of the charger, as inside the box
    assert at.highest.number == pytest.approx(run(12) + 15120.0 + 60.0, rel=1e-3)
    assert at.highest.number == place(minibus, "box").highest.number
    assert held.demand.number == at.highest.number


# -- what is counted as shown from end to end ---------------------------------------------------


def test_a_place_that_the_charger_feeds_on_is_not_shown_from_end_to_end(minibus):
    places = minibus.circuit.places
    words, fed = headline(places), [
        p for p in places if p.shown and (p.feeding_on or p.loop.fed_more)]
    assert place(minibus, "terminals") in fed
    whole = [p for p in places if p.shown and p not in fed]
    assert {p.key for p in whole} >= {"string.module", "string.section"}
    assert place(minibus, "branch.sense wires.after") in fed
    assert place(minibus, "string") in fed  # nobody told the station's capacitors
    assert f"Shown from end to end: {len(whole)} of {len(places)} places." in words
    assert f"For {len(fed)} more the battery's current is shown, and not who ends that of the " \
        "charger and the spinning motor and the station's output capacitors." in words
    counts = len([p for p in places if p.nobody]) + len([
        p for p in places if not p.nobody and not p.shown])
    assert counts + len(fed) + len(whole) == len(places)


def test_capacitors_are_spent_by_themselves_and_a_motor_is_not():
    current = f("I", "A", 100.0)
    loop = pl.Loop("k", "a place", "all", current, current, f("low", "A", 10.0), current, current,
                   current, devices=(pl.Device("main_fuse", "main fuse", pl.FUSE),),
                   sources=(pl.Source("link capacitors", current, (), "", fades=True),
                            pl.Source("spinning motor", current)))
    (found,) = pl.fault_places(pl.PlacesAsked(
        (loop,), lambda device, at: (True, f("t", "s", 0.1), "by its curve")))
    assert found.shown and found.feeding_on == ("spinning motor",)
    assert "Shown from end to end: 0 of 1 places" in headline((found,))


# -- whose sensor sees a fault ahead of the main fuse -------------------------------------------

OWN = ("strings__trip_current", "strings__trip_delay")


def test_each_strings_own_sensor_sees_it(minibus):
    low = place(minibus, "box").at_lowest
    # strings.trip_delay, 0.15 s until opened, and not the pack's 0.2 s; each from its own level
    # (350 A and 1 % of 1500 A, the range of the pack's sensor), which the current must first rise to
    assert low.clears and low.device == "string contactors"
    assert low.time.number == pytest.approx(0.15 + rise(place(minibus, "box"), 365.0))
    at = place(minibus, "terminals")
    level = min(minibus.coordination.sweep.contactor.lines, key=lambda x: x.delay).from_current
    assert at.at_lowest.time.number == pytest.approx(0.2 + rise(at, level))


def rise(place, level):
    """Step of an R-L circuit, with the loop's highest time constant."""
    return place.loop.time_constant.number * math.log(1 / (1 - level / place.lowest.number))


def test_without_them_the_cells_trip_alone_is_counted_on():
    low = place(study(without=OWN), "box").at_lowest
    assert low.clears and low.device == "string contactors, on the lowest cell"
    # the cells fall with the current: seven time constants, e^−7 of it missing, are counted for that
    tau = place(study(without=OWN), "box").loop.time_constant.number
    assert low.time.number == pytest.approx(CELLS + 7 * tau)


@pytest.mark.parametrize("place_of", ["box", "branch.floor heater.before"])
def test_the_packs_own_trip_is_not_shown_there(place_of):
    found = study({"floor heater": {"taps": "before the main fuse"}}, OWN,
                  management__undervoltage_trip="unknown")
    at = place(found, place_of)
    assert at.at_lowest.clears is None and at.at_lowest.words == "not shown: string contactors"
    assert "nobody says where that sits" in at.at_lowest.why
    low = next(c for c, one in zip(at.checks, at.answers, strict=True) if one is at.at_lowest)
    assert low.verdict == NOT_EVALUATED
    # fuses of 200 A count from 903 A: one string alone above that, two above twice that
    assert at.between.clears is None and "to 903.0 A" in at.between.span
    # behind the main fuse the sensor's place does not matter
    assert place(found, "terminals").shown
    if place_of == "box":
        assert any("strings.trip_current" in r for r in at.remedies)


def test_a_string_trip_sees_its_share_alone():
    # the trip at 1000 A: two strings feed up to 2000 A before either sees its 1000 A
    found = study(management__undervoltage_trip="unknown", strings__trip_current="1000 A")
    at = place(found, "box")
    assert at.at_lowest.clears is None and at.between.clears is None
    assert "from 590.8 A to 903.0 A" in at.between.span
    # each with half: from 2 · 595 A on both feed, to 2 · 903 A
    assert "to 1806 A" in at.between.span


# -- a chafed wire of a branch ------------------------------------------------------------------

HEATER = "chassis.second.branch.floor heater"


def test_a_branch_fused_in_both_poles_clears_it(minibus):
    at = place(minibus, HEATER)
    assert at.at_highest.device == at.at_lowest.device == "fuse of floor heater" and at.shown
    # one module, empty, cold and aged: 53.91 V over 90.99 mΩ and 5 m of 6 mm² there and back,
    # 2 · 5 · 20.55/6 mΩ · (234.5 + 105)/(234.5 + 20) = 45.7 mΩ, and the fuse of the one wire in
    # the loop, 4 W at 40 A: 2.5 mΩ; main and string fuse of 0.6 mΩ and a contactor of 0.3 mΩ
    wire = 2 * 5 * 20.55e-3 / 6 * (234.5 + 105) / 254.5
    assert at.lowest.number == pytest.approx(53.9137 / (
        90.9948e-3 + wire + 2.5e-3 + 1.5e-3), rel=1e-3)


def test_the_pole_without_a_fuse_leaves_one_contactor_alone():
    at = place(study({"floor heater": {"fused_poles": "one"}}), HEATER)
    assert "in the pole without a fuse" in at.title
    assert not any(d.kind == pl.FUSE for d in at.loop.devices)
    assert at.at_highest.clears is False and "2000 A that it breaks" in at.at_highest.why
    assert at.remedies[0] == pl.OTHER_POLE_OF_BRANCH
    # the minibus's monitor opens the contactors at the first fault
    assert worst(at.checks) == CAUTION
    assert at.title in headline((at,))


def test_the_cells_keep_their_voltage_behind_a_thin_wire():
    at = place(study({"floor heater": {"fused_poles": "one"}}), HEATER)
    # 2.7 V on each of 16 cells over the wire's 45.7 mΩ, 1.5 mΩ of two fuses and a contactor and
    # the 0.1 mΩ of the disconnect: from 913 A the trip does not see it
    wire = 2 * 5 * 20.55e-3 / 6 * (234.5 + 105) / 254.5 + 1.6e-3
    assert 16 * 2.7 / wire == pytest.approx(913.5, rel=1e-3)
    assert at.at_lowest.clears and at.at_lowest.time.number == pytest.approx(
        CELLS + 7 * at.loop.time_constant.number)
    assert "from 913.5 A the cells may keep more" in at.between.why


def test_without_a_monitor_nobody_is_a_failure():
    found = study({"floor heater": {"fused_poles": "one"}},
                  ("management__isolation_warn", "management__isolation_trip"),
                  path__insulation_monitor="none")
    assert worst(place(found, HEATER).checks) == FAIL


@pytest.mark.parametrize("taps, keys", [
    ("before the main fuse", ["wire_contactor", "wire_cell_trip"]),
    ("behind the contactors", ["main_fuse", "wire_contactor", "wire_cell_trip"])])
def test_the_packs_fuses_count_where_they_stand_in_either_pole(taps, keys):
    found = study({"floor heater": {"fused_poles": "one", "taps": taps}},
                  path__main_fuse="both poles")
    at = place(found, HEATER)
    assert [d.key for d in at.loop.devices] == keys
    # the lowest fault is the least of all loops left to the main fuse or to a contactor
    assert found.coordination.asked.fault_lowest.number == at.lowest.number


def test_the_table_has_each_of_them_in_one_row(minibus):
    rows = [r[0].text for r in places_table(minibus.circuit.places).rows]
    assert len(rows) == len(set(rows)) == len(minibus.circuit.places)
    wires = [b.name for b in minibus.brief.branch if b.kind != "sense"]
    assert [t for t in rows if "chafed wire of" in t] == [
        f"second chassis fault: mid-pack leak and chafed wire of {name}" for name in wires]
    # what motor and station add is not told, at any current; a fuse of 50 kA breaks all that is
    assert [c.verdict for c in place(minibus, HEATER).checks] == [CAUTION, PASS, CAUTION]

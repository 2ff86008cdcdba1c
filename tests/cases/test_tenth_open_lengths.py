"""A cable whose length nobody told: its lowest current is at most, its time constant at least."""

from __future__ import annotations

import tomllib

import pytest

from examples.regenerate import ROOT
from packcalc.charge_opening import FaultsBeyond
from packcalc.checks import NOT_EVALUATED, PASS, judge
from packcalc.findings import largest, leaf, with_more
from packcalc.place_demands import demand_on
from packcalc.places.slowest import UNTOLD, Stretch, loop_constant, slowest
from packcalc.protect import places as pl
from packcalc.protect.branch_figures import at_most, branch_lowest, only_at_most, open_length
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.places_report import places_table
from tests.cases.studies import LAYOUTS

pytestmark = pytest.mark.thorough


def _truck(**entries):
    """The truck without its charge branch, sized anew; a route of these entries for its inlet."""
    path = ROOT / "examples" / "truck" / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    data["branch"] = [b for b in data["branch"] if b["kind"] != "charger"]
    data["cables"]["route"] = [r for r in data["cables"]["route"] if r["carries"] == "traction"]
    data["cables"]["route"] += [{"name": "inlet", "carries": "charging", **entries}] * bool(entries)
    data["parts"]["charge_contactor"] = "Lyng 500"
    return study_protection(brief_from_data(data, str(path)), *LAYOUTS["truck"])


@pytest.fixture(scope="module")
def open_route():
    return _truck(cable="Vire 6", length="unknown")


@pytest.fixture(scope="module")
def undescribed():
    return _truck()


def _place(study, key):
    return next(p for p in study.circuit.places if p.key == key)


def _own(study, item, part):
    found = next(i for i in study.items if i.key == item)
    return next(c for c in found.candidates if c.name == part).checks


def test_an_open_length_of_a_route_shows_no_trip_that_its_lowest_fault_is_seen(open_route):
    # 5 m are assumed; 8 m gave less current, and both checks failed
    seen = [c for _, c in open_route.checks if c.title.endswith("trip sees the lowest fault")]
    assert len(seen) == 2 and {c.verdict for c in seen} == {NOT_EVALUATED}
    assert all("length left open" in c.sentence for c in seen)
    assert open_route.faults.lowest.most == "at most "
    for key in ("inlet.inlet", "chassis.second.route.inlet"):
        assert only_at_most(_place(open_route, key).lowest)
        assert not _place(open_route, key).shown


def test_an_undescribed_charge_cable_has_no_time_constant_that_is_enough(undescribed):
    checks = _own(undescribed, "charge_contactor", "Lyng 500")
    found = {c.title: c for c in checks if "no more inductive than its test" in c.title}
    assert len(found) == 2  # at full voltage, and of slower loops, which was absent
    assert {c.verdict for c in found.values()} == {NOT_EVALUATED}
    assert all("not described" in c.sentence for c in found.values())
    # the fuse and the contactors of the main path stand in the same loop
    fuse = {c.title: c for c in _own(undescribed, "main_fuse", "Talvik 400 full range")}
    assert fuse["Permitted time constant at this voltage"].verdict == NOT_EVALUATED


def test_the_table_of_places_prints_an_open_inductance_and_time_constant_as_at_least(undescribed):
    table = places_table([_place(undescribed, key) for key in (
        "inlet", "chassis.second.charge_cable", "terminals")])
    at = [[c.key for c in table.columns].index(key) for key in (
        "inductance_uH", "time_constant_ms")]
    first, second, told = ([row[i].text for i in at] for row in table.rows)
    assert all(text.startswith("at least ") for text in first + second)
    assert not any("least" in text for text in told)


def test_open_lengths_of_traction_route_and_branch_reach_every_place_behind_them():
    data = tomllib.loads((ROOT / "examples" / "truck" / "brief.toml").read_text("utf-8"))
    data["cables"]["route"] = [{**data["cables"]["route"][0], "length": "unknown"}]
    charge = next(b for b in data["branch"] if b["kind"] == "charger")
    charge |= {"section": "6 mm²", "fused_poles": "one", "length": "unknown"}
    found = study_protection(brief_from_data(
        data, str(ROOT / "examples" / "truck" / "brief.toml")), *LAYOUTS["truck"])
    low = {p.key: p.lowest for p in found.circuit.places}
    for key in ("cable.battery to inverter", "inlet", "chassis.second.fused_pole",
                "chassis.second.inside_module", "branch.charge cable.after",
                "chassis.second.branch.charge cable", "branch.DC/DC converter.after"):
        assert only_at_most(low[key]), key
    for key in ("terminals", "box", "branch.battery heater.after"):  # ahead of these cables
        assert not only_at_most(low[key]), key
    for name, verdict in (("DC/DC converter", NOT_EVALUATED), ("battery heater", PASS)):
        item = next(i for i in found.items if i.key == f"branch.{name}")
        assert next(c for c in item.checks if c.title.startswith("Fuse opens at the lowest")
                    ).verdict == verdict
    fuse = {c.title: c for c in _own(found, "main_fuse", "Talvik 400 full range")}
    assert fuse["Permitted time constant at this voltage"].verdict == NOT_EVALUATED


LENGTH = leaf("one-way length", "l", "m", 5.0, "assumed")
TOLD = leaf("one-way length", "l", "m", 5.0, "given")


def _ohms(value):
    return leaf("resistance", "R", "mΩ", value, "given")


@pytest.mark.parametrize(("length", "open_"), [(LENGTH, True), (TOLD, False)])
def test_a_branch_of_open_length_has_a_lowest_current_of_at_most(length, open_):
    found = branch_lowest(leaf("voltage", "U", "V", 300.0, "given"), _ohms(0.1), _ohms(0.2),
                          at_most(open_length(length)))
    assert only_at_most(found) is open_ and found.number == pytest.approx(1000.0)


def _loop(*stretches):
    inductance, resistance = slowest(
        leaf("pack", "L", "µH", 20e-6, "given"), _ohms(0.0144),
        leaf("of a metre", "L'", "µH/m", 1.3e-6, "given"), stretches)
    return inductance, loop_constant(inductance, resistance)


def test_only_a_stretch_that_makes_the_loop_slower_leaves_it_open():
    thick, thin = (Stretch(LENGTH, _ohms(value)) for value in (0.0005, 0.5))
    assert all(f.untold_more for f in _loop(thick))
    assert not any(f.untold_more for f in _loop(thin))  # of any length it makes it quicker
    assert not any(f.untold_more for f in _loop(Stretch(TOLD, _ohms(0.0005))))
    inductance, constant = _loop(UNTOLD, Stretch(TOLD, _ohms(0.0005)))
    assert inductance.number == pytest.approx(26.5e-6) and constant.untold_more


def _tau(value, why=""):
    return with_more(leaf("time constant", "τ", "ms", value, "given"), why)


def test_the_longest_of_several_may_be_more_where_a_shorter_one_may():
    most = largest([_tau(2e-3), _tau(1e-3, "a length")], "longest")
    assert most.number == 2e-3 and most.untold_more == "a length"
    assert judge("test", "fault range", _tau(3e-3), "at least", most).verdict == NOT_EVALUATED
    assert largest([_tau(2e-3), _tau(1e-3)], "longest").untold_more == ""


def _of(key, constant, breaks=(), lowest=None, passed=False):
    volt, amp = leaf("voltage", "U", "V", 400.0, "given"), leaf("I", "I", "A", 900.0, "given")
    device = pl.Device(pl.CHARGE_KEY, "charge contactor", pl.CONTACTOR, constant=constant,
                       breaks=breaks)
    return pl.Loop(key, key, "all", volt, amp, lowest or amp, amp, constant, constant,
                   () if passed else (device,), passed=(device,) if passed else ())


def test_a_device_is_asked_for_at_least_the_longest_where_one_of_its_places_is_open():
    low = leaf("voltage", "U", "V", 25.0, "given")
    asked = demand_on([_of("a", _tau(2e-3)), _of("b", _tau(1e-3, "a length")),
                       _of("c", _tau(2e-3), ((low, _tau(5e-3)),)),
                       _of("d", _tau(2e-3), ((low, _tau(4e-3, "a length")),))], pl.CHARGE_KEY)
    assert asked.constant.number == 2e-3 and asked.constant.untold_more
    assert [(t.number, bool(t.untold_more)) for _, t in asked.pairs] == [(5e-3, True)]


def test_a_trip_may_leave_more_of_a_lowest_fault_that_is_only_at_most():
    class Place:
        doubt = fed_more = ""
        fed = 0.0
        loop = _of("inlet", _tau(1e-3), lowest=leaf(
            "lowest", "I", "A", 800.0, "given", note=at_most("a length")), passed=True)
    faults = FaultsBeyond((Place.loop,), (Place(),))
    nothing, enough = (leaf("left", "I", "A", value, "given") for value in (0.0, 850.0))
    assert "may be less" in faults.told(nothing).untold_more
    assert faults.told(enough) is enough


@pytest.mark.parametrize("without", [("length",), ("length", "cable")])
def test_no_fuse_stands_at_a_tap_of_which_the_fault_before_it_is_not_shown(without):
    """5 m were counted, "140.0 mm, asked at most 150.0 mm", and a pass; 20 m were a caution."""
    path = ROOT / "examples" / "van" / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    for key in without:
        data["cables"]["route"][0].pop(key)
    found = study_protection(brief_from_data(data, str(path)), *LAYOUTS["van"])
    assert not _place(found, "branch.charger.before").shown
    item = next(i for i in found.items if i.key == "branch.charger")
    check = next(c for c in item.checks if c.title == "Fuse stands at the tap")
    assert check.verdict == NOT_EVALUATED and "cables.route[0].length" in check.sentence

"""A cable that nobody named: no figure or part passes by the section that is counted for it.

Invented examples with the cables of their routes taken out; each test names what was said before.
"""

from __future__ import annotations

import tomllib

import pytest

from examples.regenerate import ROOT
from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.decisions import decisions, waiting
from packcalc.layout_findings import cables_open
from packcalc.protect.branch_figures import only_at_most
from packcalc.value import replace
from tests.cases.studies import study

UNNAMED = "cables.route[{}].cable: no cable is named for {}"
TRACTION = "battery to inverter"


def with_cables(name, *cables, **changes):
    """An example whose routes have these cables, in their order; None names none."""
    data = tomllib.loads((ROOT / "examples" / name / "brief.toml").read_text("utf-8"))
    routes = data["cables"]["route"]
    for route, cable in zip(routes, cables, strict=True):
        route["cable"] = cable
        if cable is None:
            route.pop("cable")
    return study(name, cables__route=routes, **changes)


def of(study, key):
    return next(p for p in study.circuit.places if p.key == key)


@pytest.fixture(scope="module")
def open_():
    return with_cables("faulty", None, "Vire 25")


def test_the_lowest_current_is_only_at_most_while_the_cable_is_not_named(open_):
    # "Lowest fault current 578.3 A: errs low", and 511.9 A with a thinner cable named
    thin = study("faulty").faults.lowest
    lowest = open_.faults.lowest
    assert lowest.or_less and not thin.or_less and thin.number < lowest.number
    assert UNNAMED.format(0, TRACTION) in lowest.may_be_less


def test_every_place_through_it_says_so(open_):
    # the hole of the thinner cable between device and lowest current was gone from page one
    stated = {p.key: p for p in study("faulty").circuit.places}
    for place in open_.circuit.places:
        if place.lowest.known and place.lowest.number > stated[place.key].lowest.number:
            assert only_at_most(place.lowest), place.key
    cell = of(open_, "chassis.second.inside_module_branch")
    assert only_at_most(cell.lowest)


def test_no_check_on_its_lowest_current_passes(open_):
    # each was a pass on a current that the thinner cable does not give
    titles = {"a fixed current trip tells the lowest fault from the peak load",
              "under-voltage trip sees the lowest fault"}
    held = [c for item in open_.items for c in item.checks if c.title.lower() in titles]
    assert len({c.title for c in held}) == len(titles)
    assert all(c.verdict == NOT_EVALUATED for c in held)


def test_no_fuse_passes_by_what_it_carries(open_):
    # "Rated current within the cable's capacity: pass 500.0 A, asked at most 588.0 A", of 240 mm²
    fuse = next(i for i in open_.items if i.key == "main_fuse")
    for candidate in fuse.candidates:
        for check in candidate.checks:
            if "cable's capacity" in check.title:
                assert check.verdict != PASS, (candidate.name, check.title)


def test_no_connector_passes_by_its_section():
    # "takes the section of the conductor: pass 240.0 mm², asked at least 240.0 mm²"
    open_ = with_cables("faulty", None, "Vire 25", parts__connector=None)
    connectors = next(i for i in open_.items if i.key == "connectors")
    held = [k for c in connectors.candidates for k in c.checks
            if k.title == "takes the section of the conductor"]
    assert held and all(k.verdict != PASS for k in held)


def test_a_charge_cable_that_is_not_named_is_counted_alike():
    # the loop of the charge inlet took its resistance from the section first in the table
    found = with_cables("faulty", "Vire 16", None)
    route = found.brief.cables.route[1]
    inlet = of(found, f"inlet.{route.name}")
    assert only_at_most(inlet.lowest)
    assert UNNAMED.format(1, route.name) in inlet.lowest.note


@pytest.mark.parametrize(("name", "thin"), [("truck", "Vire 16"), ("minibus", "Vire 6")])
def test_no_trip_passes_where_a_branch_speaks_for_a_charge_cable_that_nobody_named(name, thin):
    """The branch's section stood for it: trips passed on a fault that a thinner cable lessens."""
    inverter = study(name).brief.cables.route[0].cable
    open_, stated = (with_cables(name, inverter, cable) for cable in (None, thin))
    place = of(open_, f"chassis.second.route.{open_.brief.cables.route[1].name}")
    assert only_at_most(place.lowest) and open_.faults.lowest.or_less
    found, worse = ({d.id: d.verdict for d in decisions(one)} for one in (open_, stated))
    fails = [key for key in worse if worse[key] == FAIL
             and key.startswith(("coordination.", "management.", "faults."))]
    assert fails and not [key for key in fails if found.get(key) not in (FAIL, NOT_EVALUATED)]


def test_both_of_a_length_and_a_cable_left_open_are_told():
    brief = study("faulty").brief
    route = brief.cables.route[0]
    bare = replace(route, cable="", length=replace(route.length, basis="assumed"))
    told = cables_open(replace(brief, cables=replace(
        brief.cables, route=(bare, *brief.cables.route[1:]))))
    assert "length is left open" in told and UNNAMED.format(0, route.name) in told


def test_a_named_cable_is_as_it_was():
    for name in ("faulty", "van"):
        assert cables_open(study(name).brief) == ""


def test_page_one_asks_for_it_first(open_):
    # the page asked for insulation.bus_withstand first, for which three checks wait
    held = waiting(decisions(open_), open_.brief)
    assert held[0].entry == "cables.route[0].cable" and held[0].checks > 10

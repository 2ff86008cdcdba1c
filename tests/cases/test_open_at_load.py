"""A resistance at load that nobody told: no pass rests on a sag that a longer cable would have.

The vehicles and parts are those of the invented examples; the long cable is invented too.
"""

from __future__ import annotations

import tomllib

import pytest

from examples.regenerate import ROOT
from packcalc.api import size_protection
from packcalc.bench.meaning import VOLTAGE_HELD
from packcalc.bench.sureness import held_by_chance
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.decisions import decisions
from packcalc.pack import model_pack
from packcalc.part_checks.trip_checks import trip_checks
from packcalc.protect.coordination import sweep_pair
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.layouts_report import layouts_section
from packcalc.study import list_layouts
from packcalc.value import replace

pytestmark = pytest.mark.thorough
LAYOUTS = {"truck": ("16S1P", ""), "van": ("5S4P", ""), "minibus": ("12S2P", "strings")}
GRAVER = {PASS: (CAUTION, NOT_EVALUATED, FAIL), CAUTION: (NOT_EVALUATED, FAIL)}
OF_LOAD = ("full-power-at-the-end", "stays-quiet-under-load", "under-voltage-trip-lies-below",
           "within-what-is-to-spare", "voltage-drop-at-the-steady-current")
TOLD = "the traction cable's length is left open"


def brief_of(name, length="", **path):
    """An example with another length of its traction cable, and other resistances."""
    place = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(place.read_text("utf-8"))
    for route in data["cables"]["route"]:
        if length and route["carries"] == "traction":
            route["length"] = length
    data["path"] |= path
    return brief_from_data(data, str(place))


def sized(name, length="", **path):
    return study_protection(brief_of(name, length, **path), *LAYOUTS[name])


def of_load(found):
    return {d.id: d.verdict for d in decisions(found)
            if any(words in d.id for words in OF_LOAD) and "charge" not in d.id}


@pytest.fixture(scope="module")
def truck():
    return sized("truck", "unknown")


# 5 m were counted: full power, the quiet trip and what contacts may drop passed.


@pytest.mark.parametrize(("name", "length", "path"), [
    ("truck", "50 m", {}), ("van", "45 m", {}),
    ("truck", "", {"link_resistance": "5 mΩ"}), ("van", "", {"contactor_resistance": "10 mΩ"})])
def test_no_check_of_the_load_is_milder_than_with_more(name, length, path):
    found = of_load(sized(name, "unknown" if length else "", **dict.fromkeys(path, "unknown")))
    worse = of_load(sized(name, length, **path))
    assert found and not [key for key, verdict in found.items()
                          if worse.get(key) in GRAVER.get(verdict, ())]
    assert FAIL not in {v for key, v in found.items() if "full-power" in key}


def test_the_checks_say_which_line_to_give(truck):
    for words in OF_LOAD[:4]:
        held = [d for d in decisions(truck) if words in d.id]
        assert held and {d.verdict for d in held} == {NOT_EVALUATED}, words
        assert all("cables.route[0].length" in d.shown for d in held)
        assert all(TOLD in d.shown for d in held)


def test_power_and_voltage_under_load_are_or_less_and_braking_or_more(truck):
    pack, told = truck.pack, sized("truck").pack
    for name in ("loaded_voltage", "available_power", "largest_power", "continuous_power"):
        assert TOLD in getattr(pack, name).may_be_less, name
        assert not getattr(told, name).or_less, name
    for name in ("regeneration_voltage", "resistance_sag"):
        assert TOLD in getattr(pack, name).untold_more, name
        assert not getattr(told, name).or_more, name


@pytest.mark.parametrize("entry", [
    "link_resistance", "fuse_resistance", "contactor_resistance", "string_cable_length"])
def test_each_resistance_of_the_path_is_named(entry):
    brief = brief_of("truck", **{entry: "unknown"})
    pack = model_pack(brief, list_layouts(brief).layout(0))
    assert f"path.{entry}" in pack.loaded_voltage.may_be_less
    assert f"path.{entry}" in pack.regeneration_voltage.untold_more


def test_a_limit_of_the_inverter_bounds_what_is_open_of_braking(truck):
    # its 425 V; the absolute maximum and every rating above it stay evaluated
    item = next(i for i in truck.items if i.key == "highest_voltage")
    assert item.duty[0].or_more and item.checks[0].verdict == PASS
    assert item.checks[0].figure.number == pytest.approx(425.0)
    assert not truck.circuit.overvoltage.highest.or_more
    link = next(one for one in truck.circuit.overvoltage.chain if one.name.startswith("braking"))
    assert link.reason.startswith("at most the inverter's own limit: ") and TOLD in link.reason
    free = replace(truck.brief, regeneration=replace(
        truck.brief.regeneration, voltage_limit=replace(
            truck.brief.regeneration.voltage_limit, value=None)))
    assert TOLD in model_pack(free, truck.layout).highest_voltage.untold_more


def test_no_braking_raises_no_voltage(truck):
    power = replace(truck.brief.regeneration.power, value=0.0)
    brief = replace(truck.brief, regeneration=replace(truck.brief.regeneration, power=power))
    assert not model_pack(brief, truck.layout).regeneration_voltage.untold_more


def test_an_undervoltage_trip_tells_no_fault_from_an_open_load(truck):
    asked = replace(truck.coordination.asked, fuse=None)
    title = "the trip tells a fault from a load"
    told, open_ = (next(c for c in trip_checks(one, sweep_pair(one)) if c.title == title)
                   for one in (replace(asked, loaded_voltage=replace(
                       asked.loaded_voltage, note="")), asked))
    assert "undervoltage of the cells" in told.reason
    assert open_.verdict == (NOT_EVALUATED if told.verdict == PASS else told.verdict)
    assert TOLD in open_.reason


def test_layouts_are_still_found_and_ranked_and_say_what_is_not_evaluated():
    known, open_ = (list_layouts(brief_of("truck", length)) for length in ("5 m", "unknown"))
    assert len(open_) == len(known) and open_.layout(0) == known.layout(0)
    told = [[getattr(b, "text", "") for b in layouts_section(one).blocks]
            for one in (known, open_)]
    words = "is not evaluated: loaded, available and continuous are at most"
    assert not any(words in text for text in told[0])
    assert any(words in text and "cables.route[0].length" in text for text in told[1])


@pytest.mark.parametrize(("chance", "verdict"), [
    (0.99, NOT_EVALUATED), (0.5, NOT_EVALUATED), (0.01, FAIL)])
def test_a_pack_as_dealt_holds_no_voltage_by_an_open_length_nor_is_a_failure_milder(
        chance, verdict):
    # the pack of the bench sheet passed with 5 m of cable
    dealt = size_protection(brief_of("truck", "unknown"), "16S1P").salvage.dealt
    held = next(c for c in dealt.totals.checks if c.title == VOLTAGE_HELD)
    assert held.verdict == NOT_EVALUATED and TOLD in held.reason
    sure = replace(dealt.sureness, targets=tuple(
        replace(t, chance=chance) for t in dealt.sureness.targets if t.held == VOLTAGE_HELD))
    assert held_by_chance((held,), sure)[0].verdict == verdict

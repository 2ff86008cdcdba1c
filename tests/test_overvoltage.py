"""The over-voltage chain: links, break points, refusals, where each part stands.

Check values are worked by hand beside each test; the two formulas answer to
tests/published/test_pfc_design_example.py and tests/oracle/test_load_dump_spice.py.
"""

import math

import numpy as np
import pytest

from examples.regenerate import ROOT
from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.findings import leaf
from packcalc.pack import model_pack
from packcalc.part_checks.shown import rounded
from packcalc.protect import overvoltage as ov
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.report.overvoltage_report import overvoltage_section
from packcalc.study import find_layout
from tests.sized import example

# 400 V pack: 30 kW into 0.8 mF from 408 V to 450 V takes 0.8e-3·(450² − 408²)/(2·30e3) = 0.48048 ms
FIGURES = {
    "full_voltage": ("end of charging", "V", 405.0), "braking_voltage": ("braking", "V", 408.0),
    "empty_voltage": ("empty", "V", 290.0), "braking_power": ("braking power", "kW", 30e3),
    "braking_limit": ("braking limit", "V", 408.0), "capacitance": ("link", "mF", 0.8e-3),
    "reaction": ("reaction", "ms", 0.2e-3), "back_voltage": ("back voltage", "V", 280.0),
    "station_voltage": ("station", "V", None), "charger_ceiling": ("charger", "V", 405.0),
    "absolute_maximum": ("absolute maximum", "V", 450.0),
    "capacitor_rating": ("capacitor", "V", 500.0),
    "semiconductor_rating": ("semiconductor", "V", 650.0)}


def asked(**changes):
    others = changes.pop("others", ov.OvervoltageAsked.others)
    return ov.OvervoltageAsked(**{
        name: leaf(title, "x", unit, changes.get(name, value), "given")
        for name, (title, unit, value) in FIGURES.items()}, others=others)


def study(**changes):
    return ov.study_overvoltage(asked(**changes))


def verdict(result, words):
    found = [c for c in result.item.checks if words in c.title]
    assert len(found) == 1, [c.title for c in result.item.checks]
    return found[0]


STOPS = "inverter stops braking"


def test_scalar_equals_vector():
    times = np.array([0.0, 1e-4, 1e-3])
    assert ov.fed_voltage(400.0, 30e3, times, 1e-3) == pytest.approx(
        [ov.fed_voltage(400.0, 30e3, t, 1e-3) for t in times])
    tops = np.array([400.0, 450.0])
    assert ov.time_at_power(1e-3, 400.0, tops, 3e4) == pytest.approx(
        [ov.time_at_power(1e-3, 400.0, v, 3e4) for v in tops])


def test_both_formulas_undo_each_other():
    time = ov.time_at_power(0.8e-3, 408.0, 450.0, 30e3)
    assert time == pytest.approx(0.48048e-3)
    assert ov.fed_voltage(408.0, 30e3, time, 0.8e-3) == pytest.approx(450.0)


def test_load_dump_is_a_link_of_the_chain():
    result = study()
    # √(408² + 2·30e3·0.2e-3/0.8e-3) = √(166464 + 15000) = 425.99 V
    assert result.highest.number == pytest.approx(math.sqrt(181464.0))
    assert result.battery_side.number == 408.0
    assert "contactor" in result.item.governing
    assert result.chain[4].side == ov.INVERTER


@pytest.mark.parametrize(("reaction", "expected"), [
    (0.4804e-3, "pass"), (0.48048e-3, "pass"), (0.4806e-3, "fail")])
def test_reaction_against_the_time_to_the_limit(reaction, expected):
    assert verdict(study(reaction=reaction), STOPS).verdict == expected


def test_a_slow_inverter_fails_its_own_maximum_too():
    # √(408² + 2·30e3·1e-3/0.8e-3) = √241464 = 491.4 V above 450 V, below 500 V
    result = study(reaction=1e-3)
    assert result.highest.number == pytest.approx(491.39, abs=0.01)
    verdicts = {s.part: s.check.verdict for s in result.standings}
    assert verdicts["inverter, absolute maximum"] == "fail"
    # Windings and loop give energy on top, which nobody counts: never more than a caution.
    assert verdicts["DC-link capacitors"] == "caution"
    assert verdicts["main fuse"] == "not evaluated"


def test_the_rise_starts_at_the_inverters_limit_when_that_is_higher():
    # √(430² + 15000) = 447.1 V
    assert study(braking_limit=430.0).highest.number == pytest.approx(math.sqrt(199900.0))


def test_a_braking_limit_at_the_maximum_leaves_no_time():
    result = study(braking_limit=450.0)
    assert verdict(result, STOPS).verdict == "fail"
    assert verdict(result, "braking limit lies below").verdict == "fail"
    assert verdict(study(braking_limit=449.9), "braking limit lies below").verdict == "pass"


@pytest.mark.parametrize("name", ["reaction", "braking_limit"])
def test_an_unknown_link_leaves_at_least(name):
    result = study(**{name: None})
    # an open entry may not soften the demand: the inverter's maximum counts until it is known
    assert result.highest.number == 450.0
    assert result.highest.note.startswith("at least this; not evaluated: contactor opens")
    held = next(s for s in result.standings if s.part == "DC-link capacitors")
    assert held.check.verdict == "caution"
    check = verdict(result, STOPS)
    assert check.verdict == "not evaluated" and "0.4805 ms" in check.reason
    assert any("contactor opens under braking" in line for line in result.item.open_items)


def test_no_braking_power_no_dump():
    result = study(braking_power=0.0, reaction=None, braking_limit=None)
    assert result.chain[3].voltage is None
    assert verdict(result, STOPS).verdict == "pass"
    assert not any("contactor opens" in line for line in result.item.open_items)


@pytest.mark.parametrize(("volts", "expected"), [(289.9, "pass"), (290.0, "pass"),
                                                 (290.1, "caution"), (None, "not evaluated")])
def test_spinning_motor_against_the_empty_pack(volts, expected):
    assert verdict(study(back_voltage=volts), "spinning motor").verdict == expected


def test_back_voltage_governs_when_it_is_the_largest():
    result = study(back_voltage=620.0)
    assert result.highest.number == 620.0 and "back voltage" in result.item.governing
    assert {s.check.verdict for s in result.standings[:2]} == {"fail"}


def test_a_motor_without_magnets_adds_nothing_and_asks_nothing():
    result = study(back_voltage=0.0)
    assert result.chain[5].voltage is None and "without magnets" in result.chain[5].reason
    assert result.item.open_items == ()
    assert not result.highest.note.startswith("at least this")


def test_station_ceiling_counts():
    assert study(station_voltage=500.0).highest.number == 500.0
    result = study()
    assert "no fast-charge station" in result.chain[3].reason


def test_semiconductors_never_pass_without_their_overshoot():
    for rating, expected in ((650.0, "caution"), (400.0, "fail"), (None, "not evaluated")):
        held = study(semiconductor_rating=rating).standings[2]
        assert held.check.verdict == expected
    assert "overshoot" in study().standings[2].check.reason


@pytest.mark.parametrize(("shift", "expected"), [
    (0.0, "caution"), (-0.01, "fail"), (0.01, "caution")])
def test_rating_on_and_beside_the_highest_voltage(shift, expected):
    top = math.sqrt(181464.0)
    held = study(capacitor_rating=top + shift).standings[1]
    assert held.check.verdict == expected


@pytest.mark.parametrize(("volts", "expected"), [(405.0, "pass"), (405.1, "fail"),  # no trip set
                                                 (None, "not evaluated")])
def test_charger_at_its_own_ceiling(volts, expected):
    assert verdict(study(charger_ceiling=volts), "charger that runs").verdict == expected


def test_further_parts_with_ratings():
    rating = leaf("rated DC voltage", "U", "V", 500.0, "given")
    result = study(others=(("fuse F1", rating), ("contactor K1", None)))
    assert [(s.part, s.check.verdict) for s in result.standings[3:]] == [
        ("fuse F1", "pass"), ("contactor K1", "not evaluated")]
    assert "at least 426.0 V" in result.standings[4].check.reason


# -- from a brief -----------------------------------------------------------------------------

def brief_of(**sections):
    data = {"modules": [{"label": "6s 200 Ah NMC", "count": 16}],
            "inverter": {"voltage_range": "240 V to 420 V", "dc_link_capacitance": "1 mF"},
            "power": {"peak": "60 kW"}}
    for name, entries in sections.items():
        data[name] = {**data.get(name, {}), **entries}
    return brief_from_data(data)


def test_the_entries_of_a_brief_arrive():
    brief = brief_of(motor={"back_voltage": "390 V"}, station={"voltage": "500 V"},
                     inverter={"overvoltage_reaction": "0.3 ms", "capacitor_rating": "450 V",
                               "dc_link_tolerance": "10 %"})
    pack = model_pack(brief, find_layout(brief, "16S1P"))
    found = ov.overvoltage_asked(brief, pack)
    assert found.back_voltage.number == 390 and found.station_voltage.number == 500
    assert found.reaction.number == pytest.approx(0.3e-3)
    assert found.capacitance.number == pytest.approx(0.9e-3)
    assert found.full_voltage is pack.full_voltage


def test_an_open_capacitance_is_counted_small_for_a_rise():
    brief = brief_of(inverter={"dc_link_capacitance": "unknown"})
    pack = model_pack(brief, find_layout(brief, "16S1P"))
    found = ov.overvoltage_asked(brief, pack).capacitance
    assert brief.inverter.dc_link_capacitance.number == pytest.approx(3e-3)
    assert found.number == pytest.approx(0.5e-3 * 0.8) and found.weakest == "assumed"


def test_section_names_every_link_and_part():
    section = overvoltage_section(study())
    tables = {block.key: block for block in section.blocks if hasattr(block, "rows")}
    assert len(tables["overvoltage_chain"].rows) == 6
    assert len(tables["overvoltage_standings"].rows) == 6
    row = tables["overvoltage_chain"].rows[4]
    assert row[2].value == 426.0 and row[1].text == "inverter side"


# -- a highest voltage that is a lower bound ----------------------------------------------------

OPEN_CHAIN = {
    "modules": [{"label": "12s 80 Ah NMC", "count": 34}], "arrangement": "strings",
    "inverter": {"voltage_range": "540 V to 850 V"}, "power": {"peak": "120 kW"},
    "cables": {"route": [{"name": "traction", "carries": "traction", "length": "4 m"}]},
    "branch": [{"name": "heater", "kind": "heater", "taps": "behind the contactors",
                "power": "5 kW", "length": "3 m", "fuse_rating": "20 A"}],
    "path": {"charge_contactor": "both poles", "string_cable_length": "1 m",
             "string_cable_section": "35 mm²"}}


def test_every_demand_on_a_lower_bound_says_at_least():
    """The chain is open: a rating bought to the bare figure may be too low."""
    study = study_protection(brief_from_data(OPEN_CHAIN, "open"), "", "strings")
    highest = study.pack.highest_voltage
    assert highest.at_least
    for written in (highest.shown, rounded(highest, True)):
        told = [(i.key, r.what, r.value) for i in study.items for r in i.specification
                if written in r.value]
        assert told
        bare = [row for row in told if f"at least {written}" not in row[2]
                and f"{written}, or more" not in row[2]]
        assert bare == []
    voltage = next(r.value for i in study.items if i.key == "contactors"
                   for r in i.specification if r.what == "voltage")
    assert voltage == f"each pole alone above at least {highest.shown} DC"


def test_a_known_highest_voltage_is_said_as_it_is():
    study = example("truck")
    assert not study.pack.highest_voltage.at_least
    voltage = next(r.value for i in study.items if i.key == "contactors"
                   for r in i.specification if r.what == "voltage")
    assert voltage == f"each pole alone above {study.pack.highest_voltage.shown} DC"


def test_the_loads_on_the_bus_are_held_to_the_highest_working_voltage(tmp_path):
    """A converter for 440 V in a pack of 448.4 V; a load whose plate nobody read is asked about."""
    text = (ROOT / "examples/truck/brief.toml").read_text("utf-8")
    assert text.count('input_voltage = "500 V"') == 4
    text = text.replace('input_voltage = "500 V"', 'input_voltage = "440 V"', 1)
    text = text.replace('input_voltage = "500 V"\n', "", 1)
    for name in ("parts.csv", "truck/bench.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes((ROOT / "examples" / name).read_bytes())
    (tmp_path / "truck/brief.toml").write_text(text, "utf-8")
    brief = read_brief(tmp_path / "truck/brief.toml")
    item = next(i for i in study_protection(brief).items if i.key == "overvoltage")
    checks, rated = {c.title: c for c in item.checks}, "rated for the highest working voltage"
    assert checks[f"load of DC/DC converter {rated}"].verdict == FAIL
    heater = checks[f"load of battery heater {rated}"]
    assert heater.verdict == NOT_EVALUATED and "448.4 V" in heater.reason
    assert checks[f"load of charge cable {rated}"].verdict == PASS
    assert not any("sense wires" in title for title in checks)

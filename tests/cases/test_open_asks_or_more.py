"""What is left open asks suppliers no less in silence: "or more", "or less", or to confirm.

The parts are those of the invented list.
"""

from __future__ import annotations

import tomllib

import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.compose import report_document
from packcalc.report.data import as_dict
from packcalc.report.places_report import headline, places_table
from tests.cases.studies import LAYOUTS, study
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough


PLUG = "Klo 500 wide"


def with_lengths(name, length, **parts):
    """An example with this length of every traction route."""
    path = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    for route in data["cables"]["route"]:
        if route["carries"] == "traction":
            route["length"] = length
    data["parts"] = {key: value for key, value in data["parts"].items() if key not in parts}
    data["parts"]["connector"] = PLUG  # van and minibus have none
    return study_protection(brief_from_data(data, str(path)), *LAYOUTS[name])


def lines(found, *words):
    """(part, line): line of every request sheet whose name holds one of these words."""
    return {(item.key, line.what): line for item in found.items for line in item.specification
            if any(one in line.what for one in words)}


# -- 1: a traction length left open in short-time lines ----------------------------------------

SHEETS = (("coordination", "contactor: short-time withstand, closed"),
          ("connectors", "short-time withstand"))


@pytest.mark.parametrize("name", ["van", "minibus"])
def test_an_open_length_asks_or_more_of_every_closed_contact_and_module(name):
    """They asked less than a stated length of 0.05 m or of 20 m, and did not say so."""
    found = lines(with_lengths(name, "unknown"), "short-time withstand", "own conductors")
    for key in (*SHEETS, ("coordination", "the module's own conductors")):
        assert "or more" in found[key].value, key
        assert "or more: cables.route[0].length" in found[key].why, key
    told = lines(study(name, parts__connector=PLUG), "short-time withstand", "own conductors")
    assert not any("or more" in told[key].value for key in SHEETS)


def test_the_lines_by_a_fuse_put_forward_say_or_more():
    """With a stated length another fuse of the list is put forward, and lets far more through."""
    found = lines(with_lengths("van", "3 m", main_fuse=""), "short-time withstand")
    for key in SHEETS:
        assert found[key].value.endswith("or more")
        assert "not named in the brief (parts.main_fuse)" in found[key].why


def test_no_contact_or_conductor_passes_over_a_sweep_that_may_ask_more():
    """Heat and time over a loop of unknown length are the least that they may be."""
    found = with_lengths("truck", "unknown")
    checks = [c for _, c in found.checks if c.title in (
        "closed contactor withstands faults until they are cleared",
        "withstands faults until they are cleared")]
    assert all(c.verdict not in (PASS, CAUTION) for c in checks)
    assert all(heat.heat is None or heat.heat.untold_more for heat in found.circuit.heats)
    assert not any(h.heat is not None and h.heat.or_more for h in study("truck").circuit.heats)


# -- 2: poles of the disconnect left open ------------------------------------------------------

@pytest.mark.parametrize("name", ["truck", "minibus"])
def test_poles_left_open_still_ask_what_contacts_may_take(name, tmp_path):
    """Both sheets lost their line of volts without a word."""
    found = study(name, parts__connector=PLUG,
                  parts__file=listed(tmp_path, Port_400={"poles": ""}))
    stated = [study(name, parts__connector=PLUG,
                    parts__file=listed(tmp_path / str(n), Port_400={"poles": str(n)}))
              for n in (1, 2) if (tmp_path / str(n)).mkdir() is None]
    for item, what in (("disconnect", "poles"), ("connectors", "resistance")):
        line = lines(found, what)[item, what]
        assert "in all at most" in line.value and " V or less at " in line.value
        assert "poles of Port 400" in line.why
        said = [lines(one, what)[item, what].value for one in (found, *stated)]
        volts = [float(one.partition("in all at most ")[2].split()[0]) for one in said]
        assert volts[0] <= min(volts[1:]) * (1.0 + 1e-9)  # the worst of both


# -- 3: the highest working voltage is only a lower bound --------------------------------------

def test_isolation_passes_nothing_on_a_braking_power_that_nobody_told():
    """430 kΩ passed against 850 V or more; 300 kW of braking asks more than 430 kΩ."""
    open_, worse = (study("minibus", regeneration__power=one) for one in ("unknown", "300 kW"))

    def verdict(found, words):
        return next(c.verdict for title, c in found.checks if words in c.title)

    assert verdict(study("minibus"), "monitor warns") == PASS
    assert verdict(worse, "monitor warns") == FAIL
    for words in ("monitor warns", "touch on one pole", "gloves exist"):
        assert verdict(open_, words) == NOT_EVALUATED


# -- 4: an assumed growth of resistance --------------------------------------------------------

@pytest.fixture(scope="module", params=["88 %", "70 %"])
def ageless(request):
    """The truck without a growth: our own figure, or the law of the class at the health."""
    path = ROOT / "examples" / "truck" / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    for one in data["modules"]:
        del one["resistance_growth"]
        one["state_of_health"] = request.param
    return study_protection(brief_from_data(data, str(path)), *LAYOUTS["truck"])


def test_an_assumed_growth_is_to_be_confirmed_wherever_its_figures_stand(ageless):
    """It was said beside the checks alone: not of fault places, on page one, or in the data."""
    words = "subject to confirming resistance growth with age (modules[0].resistance_growth)"
    assert words in headline(ageless.circuit.places)
    table = places_table(ageless.circuit.places)
    at = [c.key for c in table.columns].index("who_lowest")
    assert words in table.rows[0][at].text
    whole = as_dict(report_document(ageless))
    assert "fault_lowest_A" in whole["first"]["to_confirm"]
    assert "fault_highest_A" not in whole["first"]["to_confirm"]
    assert words in whole["fault_places"][0]["who_lowest"]
    assert "subject to confirming" not in headline(study("truck").circuit.places)


# -- 5: the charger's tolerance in the highest fault -------------------------------------------

@pytest.mark.parametrize("name", ["truck", "minibus"])
def test_an_open_tolerance_of_the_charger_leaves_the_highest_fault_open(name):
    """The highest voltage was "or more" by it, and the current that this voltage drives was not."""
    found = study(name, charger__tolerance="unknown")
    places = [p for p in found.circuit.places if p.loop.highest.known]
    assert found.faults.highest.or_more and all(p.loop.highest.or_more for p in places)
    assert "fault_highest_A" in as_dict(report_document(found))["first"]["lower_bounds"]
    breaks = {c.verdict for title, c in found.checks
              if "breaking capacity" in c.title.lower()}
    assert breaks and PASS not in breaks
    assert not study(name).faults.highest.or_more

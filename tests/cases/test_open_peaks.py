"""A length or a capacitance that nobody told makes the capacitors' peak no less than counted.

Invented examples with one entry changed; and a branch of which nobody said if it has a fuse.
"""

from __future__ import annotations

import math
import tomllib

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.errors import UserError
from packcalc.feeds import OPEN_RUN, SHORT_RUN, may_be_fused
from packcalc.places.shared import SAY_FUSE
from packcalc.places.stands import PERHAPS
from packcalc.protect.branch_figures import only_at_most
from packcalc.reading.brief_file import brief_from_data
from tests.cases.studies import ROOT, study

pytestmark = pytest.mark.thorough

MONITOR, CONVERTER, CHARGER = "insulation monitor", "DC/DC converter", "charger"
BREAKS = "Fuse: breaking capacity at the highest fault"
BEARS = "Conductor stands what the fuse lets through"
STEP = "Healthy fuse passes the closing step"


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def held(found, branch, title):
    item = next(i for i in found.items if i.key == f"branch.{branch}")
    return next(c for c in item.checks if c.title == title)


# Sources that nobody told of may burst the fuse at any length.
TOLD = {"motor__short_circuit_current": "1 A", "station__capacitance": "1 nF"}


def answers(one):
    return [a.clears for a in one.answers]


def test_what_is_counted_of_a_run_left_open_may_be_less():
    # its note once said that the capacitors' current errs high with half a metre
    assert OPEN_RUN.number == SHORT_RUN.number == 0.5
    assert "may be less" in OPEN_RUN.may_be_less and "errs high" not in OPEN_RUN.note


@pytest.mark.parametrize("length, high, verdicts", [
    ("0.7 m", True, (PASS, PASS)), ("unknown", None, (NOT_EVALUATED, NOT_EVALUATED)),
    ("0.2 m", False, (FAIL, NOT_EVALUATED))])
def test_a_fuse_breaks_no_peak_over_a_length_that_nobody_told(length, high, verdicts):
    # half a metre was counted as the shortest, and the fuse named as the one that clears
    found = study("minibus", branch={MONITOR: {"length": length}}, **TOLD)
    for key in (f"branch.{MONITOR}.after", f"chassis.second.branch.{MONITOR}"):
        one = place(found, key)
        assert one.at_highest.clears is high
        assert one.highest.least == ("at least " if high is None else "")
    assert tuple(held(found, MONITOR, title).verdict for title in (BREAKS, BEARS)) == verdicts


def test_the_peak_of_an_open_length_is_that_of_half_a_metre():
    # 843 V and more over 0.25 µH: the figure itself stays as it was counted
    one = place(study("minibus", branch={MONITOR: {"length": "unknown"}}), f"branch.{MONITOR}.after")
    told = place(study("minibus", branch={MONITOR: {"length": "0.5 m"}}), f"branch.{MONITOR}.after")
    assert math.isclose(one.highest.number, told.highest.number) and not told.highest.untold_more


def test_a_traction_cable_left_open_is_open_for_every_fuse_that_the_bus_feeds():
    # sense wires and pre-charge wires behind their fuses once read "fuse of sense wires"
    data = tomllib.loads((ROOT / "examples" / "minibus" / "brief.toml").read_text("utf-8"))
    routes = [{**r, "length": "unknown"} if r["carries"] == "traction" else r
              for r in data["cables"]["route"]]
    found = study("minibus", cables__route=routes)
    for name in ("sense wires", "pre-charge wires"):
        assert place(found, f"branch.{name}.after").at_highest.clears is None
    fuse = next(i for i in found.items if i.key == "main_fuse")
    assert fuse.candidates
    backward = [c for r in fuse.candidates for c in r.checks
                if c.title.startswith("Stands the link capacitors' current, backwards")]
    assert backward and all(c.verdict != PASS for c in backward)


def test_a_fuse_that_bursts_by_what_is_counted_bursts_with_more():
    # a failure stands: 1.2 mF of the converter burst its fuse, whatever another one holds
    large = {CONVERTER: {"capacitance": "1.2 mF"}}
    sure = place(study("truck", branch=large), f"branch.{CONVERTER}.after")
    open_ = place(study("truck", branch={**large, "battery heater": {"capacitance": "unknown"}}),
                  f"branch.{CONVERTER}.after")
    assert sure.at_highest.clears is open_.at_highest.clears is False
    assert open_.highest.untold_more and held(
        study("truck", branch=large), CONVERTER, BREAKS).verdict == FAIL


@pytest.mark.parametrize("capacitance, high, verdict", [
    ("0.06 mF", True, CAUTION), ("unknown", None, NOT_EVALUATED), ("1.2 mF", False, FAIL)])
def test_a_fuse_breaks_no_peak_of_a_capacitance_that_nobody_told(capacitance, high, verdict):
    # 1 mF was counted without a word that it may be too little for the peak
    found = study("truck", branch={CONVERTER: {"capacitance": capacitance}})
    for key in (f"branch.{CONVERTER}.after", f"chassis.second.branch.{CONVERTER}"):
        assert place(found, key).at_highest.clears is high
    assert held(found, CONVERTER, BREAKS).verdict == verdict


@pytest.mark.parametrize("length, verdict", [
    ("1.1 m", PASS), ("unknown", NOT_EVALUATED), ("0.12 m", CAUTION)])
def test_the_closing_step_of_an_open_length_passes_no_fuse(length, verdict):
    # less copper lets more of the step through
    found = study("minibus", branch={CONVERTER: {"length": length}})
    assert held(found, CONVERTER, STEP).verdict == verdict


# -- a fuse of which nobody spoke -------------------------------------------------------------


@pytest.mark.parametrize("rating, may", [(None, True), ("unknown", True), ("none", False),
                                         ("63 A", False)])
def test_none_is_an_answer_and_a_gap_is_not(rating, may):
    found = study("van", branch={CHARGER: {"fuse_rating": rating}})
    brief = found.study.brief
    branch = next(b for b in brief.branch if b.name == CHARGER)
    assert may_be_fused(brief, branch) is may and branch.fuse_rating.known is (rating == "63 A")


def test_none_beside_the_name_of_a_fuse_is_refused():
    data = tomllib.loads((ROOT / "examples" / "van" / "brief.toml").read_text("utf-8"))
    data["branch"][0]["fuse_rating"] = "none"
    with pytest.raises(UserError, match="fuse_part names a fuse"):
        brief_from_data(data, str(ROOT / "examples" / "van" / "brief.toml"))


@pytest.mark.parametrize("key", ["inlet", f"branch.{CHARGER}.after"])
def test_a_fuse_that_nobody_spoke_of_may_melt_before_the_main_fuse_clears(key):
    # it was counted as no fuse: the main fuse was named, and with 63 A stated nobody
    told, open_, none = (place(study("van", branch={CHARGER: {"fuse_rating": rating}}), key)
                         for rating in ("63 A", "unknown", "none"))
    assert answers(told) == answers(open_) == [None, None] and all(answers(none))
    assert only_at_most(open_.lowest) and not only_at_most(none.lowest)
    assert open_.at_highest.device == f"fuse of {CHARGER}{PERHAPS}"
    assert open_.at_highest.device not in [d.name for d in open_.loop.devices]
    assert SAY_FUSE in open_.remedies


def test_it_clears_nothing_that_nobody_clears_without_it():
    # a thin wire that does not live until the main contactors open: "nobody" stays
    thin = {"length": "16 m", "section": "4 mm²", "fuse_part": ""}
    none, open_ = (place(study("truck", branch={"battery heater": {**thin, "fuse_rating": rating}}),
                         "branch.battery heater.after") for rating in ("none", "unknown"))
    assert none.nobody and open_.nobody


@pytest.mark.parametrize("poles, open_", [("both", True), ("one", False), ("unknown", True)])
def test_a_chafed_wire_passes_it_where_it_may_stand_in_that_pole(poles, open_):
    found = study("van", branch={CHARGER: {"fuse_rating": "unknown", "fused_poles": poles}})
    one = place(found, f"chassis.second.branch.{CHARGER}")
    assert (f"branch_fuse.{CHARGER}" in one.loop.perhaps) is open_
    assert only_at_most(one.lowest) is open_ and one.shown is not open_


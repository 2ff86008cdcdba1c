"""What a further fuse of the loop leaves burning, and what an open length leaves open.

Invented parts and examples: the figures of their rows are in `examples/parts.csv`.
"""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.clearing import opened_untimed
from packcalc.findings import OR_MORE, leaf
from packcalc.part_checks.links_beside import Beside, melts_first, spoilt
from packcalc.part_checks.overload_carried import TITLE as CARRIED
from packcalc.part_checks.sweep import ASK_TEST, contactor_side, fuse_side, slower_than
from packcalc.protect.coordination import EVERY, coordinate
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from tests.cases.studies import ROOT, study
from tests.cases.test_coordination_cases import asked, check, contactor, fuse

WHOLE = leaf("share", "x", "", 1.0, "definition")
OPEN = "a length left open is counted as 5.000 m, our assumption, and may be more"
SECOND = "survives the heat of a second chassis fault"
UNTIMED = "contactors opened untimed during a short"


def beside(share=1.0, in_string=False, **changes):
    """A further fuse like the invented main one, with entries changed."""
    base = asked()
    side = fuse_side(fuse(**changes), base.highest_voltage, base.time_constant,
                     base.counted_time.number)
    return Beside("mid-pack fuse", side, leaf("share", "x", "", share, "given"), (), in_string)


# -- the rule of one link ---------------------------------------------------------------------


def test_a_link_that_breaks_what_melts_it_forestalls_nobody():
    at = np.geomspace(500.0, 1e4, 50)
    assert not melts_first(beside(), at, np.full(at.shape, 10.0)).any()


def test_a_link_forestalls_whoever_clears_later_and_not_whoever_clears_sooner():
    link = beside(rated_voltage_dc="100 V", breaking_capacity="20 kA", clearing_i2t_at="100 V")
    melts = float(link.fuse.unbroken.melts(3000.0))
    assert 0.0 < melts < 1.0
    assert melts_first(link, 3000.0, melts * 1.001)
    assert not melts_first(link, 3000.0, melts * 0.999)
    assert not melts_first(link, 3000.0, np.nan)  # nobody is forestalled


def test_one_of_several_strings_fuses_may_carry_less_than_its_largest_share():
    # above its lowest breaking current at the largest share, below it with more strings in
    alone, strung = (beside(0.9, s, **{"class": "aR", "lowest_breaking_current": "1000 A"})
                     for s in (False, True))
    late = 1.01 * float(strung.fuse.unbroken.melts(999.9))
    assert not melts_first(alone, 2000.0, late) and melts_first(strung, 2000.0, late)


def test_a_spoilt_sweep_counts_nobody_where_the_link_is_first():
    whole = coordinate(asked()).sweep
    weak = beside(rated_voltage_dc="100 V", clearing_i2t_at="100 V")
    left = spoilt(whole, (weak,))
    lost = melts_first(weak, whole.current, whole.time)
    assert lost.any() and left.holes and not spoilt(whole, (beside(),)).holes == left.holes
    assert np.isnan(left.time[np.isin(left.current, whole.current[lost])]).all()


# -- contactors opened untimed ----------------------------------------------------------------


def untimed(**changes):
    held = coordinate(asked(contactor=contactor(opening_time="20 ms"), **changes))
    return held, opened_untimed(held)


def test_no_fuse_behind_a_link_that_does_not_break_is_counted_on_untimed():
    """Was the same figure and the same hold-up as beside a sound link."""
    held, sound = untimed(beside=(beside(),))
    assert sound.left.number < held.asked.fault_highest.number and sound.hold is not None
    assert untimed()[1].left.number == sound.left.number
    _, weak = untimed(beside=(beside(rated_voltage_dc="100 V", clearing_i2t_at="100 V"),))
    assert weak.left.number == held.asked.fault_highest.number and weak.hold is None
    assert "mid-pack fuse may melt before" in weak.left.note


def test_a_main_fuse_that_breaks_no_more_clears_nothing_above_it_untimed():
    """Its curve was read on past its breaking capacity."""
    held, sound = untimed()
    less = f"{0.8 * held.asked.fault_highest.number:.0f} A"
    held, short = untimed(fuse=fuse(breaking_capacity=less))
    assert short.left.number == held.asked.fault_highest.number > sound.left.number
    assert short.hold is None and "above the breaking capacity" in short.left.note


# -- a time constant that may be more ---------------------------------------------------------


def test_a_time_constant_that_may_be_more_is_within_no_test():
    known = leaf("time constant", "τ", "ms", 2e-3, "given")
    more = known.called(note=f"as far as told{OR_MORE}{OPEN}")
    assert not slower_than(2e-3, known) and slower_than(1.9e-3, known) == "2.000 ms"
    assert slower_than(1.0, more) == f"at least 2.000 ms: {OPEN}"


def test_a_contactor_in_a_loop_that_may_be_slower_is_a_question_and_no_failure():
    """Was counted on at the length that was assumed: worse lengths stated lost the pass."""
    base = asked()
    pair = {"contactor": contactor(break_discharge="6000 A", break_charge="6000 A")}
    at_least = base.time_constant.called(note=f"as far as told{OR_MORE}{OPEN}")
    shown = check(coordinate(asked(**pair)), EVERY)
    held = coordinate(asked(**pair, time_constant=at_least))
    told = check(held, EVERY)
    assert shown.verdict == PASS and told.verdict == NOT_EVALUATED and OPEN in told.reason
    side = held.sweep.contactor
    assert side.untold and not side.as_told.reasons
    assert held.item.candidates[0].checks[0].verdict == NOT_EVALUATED


def test_a_failure_beside_an_open_length_stays_one():
    base = asked()
    at_least = base.time_constant.called(note=f"as far as told{OR_MORE}{OPEN}")
    weak = {"contactor": contactor(break_discharge="700 A", break_charge="700 A")}
    assert check(coordinate(asked(**weak)), EVERY).verdict == FAIL
    assert check(coordinate(asked(**weak, time_constant=at_least)), EVERY).verdict == FAIL


def test_a_sheet_without_its_test_is_no_question_of_the_length():
    base = asked()
    silent = contactor(break_time_constant="", permitted_time_constant="")
    at_least = base.time_constant.called(note=f"as far as told{OR_MORE}{OPEN}")
    side = contactor_side(silent, base.trips, base.highest_voltage, at_least, None)
    assert ASK_TEST in side.reasons and not side.untold


# -- whole designs ----------------------------------------------------------------------------


def found_of(made, title):
    return next(c for item in made.items for c in item.checks if title in c.title)


def part_check(made, key, name, title):
    item = next(i for i in made.items if i.key == key)
    part = next(c for c in item.candidates if c.name == name)
    return next(c for c in part.checks if c.title == title)


@pytest.mark.thorough
@pytest.mark.parametrize("name", ["Brevik 400 general", "Skarv 400 fast"])
def test_a_mid_pack_fuse_that_does_not_break_spoils_what_counts_on_a_clearing(name):
    """440 V on 448 V, and a floor of 1800 A: all three passed as with the sound fuse."""
    made, sound = study("truck", parts__mid_fuse=name), study("truck")
    assert found_of(sound, SECOND).verdict == PASS
    heat = found_of(made, SECOND)
    assert heat.verdict == NOT_EVALUATED and "the mid-pack fuse may melt before" in heat.reason
    for key, part in (("contactors", "Lyng 500"), ("disconnect", "Port 400"),
                      ("connectors", "Klo 500 wide")):
        assert part_check(sound, key, part, CARRIED).verdict == PASS
        told = part_check(made, key, part, CARRIED)
        assert told.verdict == NOT_EVALUATED and "see 'mid-pack fuse" in told.reason


@pytest.mark.thorough
def test_where_no_fuse_clears_the_large_faults_no_hold_up_is_advised():
    made, sound = study("truck", parts__mid_fuse="Brevik 400 general"), study("truck")
    highest = made.coordination.asked.fault_highest.number
    before, told = (found_of(s, UNTIMED) for s in (sound, made))
    assert before.demand.number < highest == told.demand.number
    assert "hold up" in before.remedy and "hold up" not in told.remedy
    assert told.verdict == CAUTION
    charge = found_of(made, f"{UNTIMED}, charge contactor")
    assert "hold up" not in charge.remedy


@pytest.mark.thorough
def test_an_open_cable_length_leaves_the_contactor_open_everywhere():
    """At the assumed 5 m it was named at places and passed; "32 m" lost all of that."""
    path = ROOT / "examples" / "truck" / "brief.toml"
    made = {}
    for length in ("unknown", "32 m", "3.2 m"):
        data = tomllib.loads(path.read_text("utf-8"))
        route = next(r for r in data["cables"]["route"] if r["name"] == "battery to inverter")
        route["length"] = length
        made[length] = study_protection(brief_from_data(data, str(path)), "16S1P", "")
    titles = ("overload and fault range meet, from pole to pole", "overload that lasts longer than",
              "ends an overload of cable")
    # other places of the truck are left to nobody: the first is told of the path's own loop alone
    for title, verdict in zip(titles, (CAUTION, PASS, PASS), strict=True):
        assert found_of(made["3.2 m"], title).verdict == verdict
        assert found_of(made["unknown"], title).verdict in (NOT_EVALUATED, CAUTION)
    assert OPEN in found_of(made["unknown"], titles[1]).reason
    part = part_check(made["unknown"], "contactors", "Lyng 500", CARRIED)
    assert part.verdict == NOT_EVALUATED and OPEN in part.reason
    for length in ("unknown", "32 m"):
        place = next(p for p in made[length].circuit.places
                     if p.title.startswith("across the pack terminals"))
        assert not place.shown
    place = next(p for p in made["unknown"].circuit.places
                 if p.title.startswith("across the pack terminals"))
    assert place.at_lowest.clears is None and OPEN in place.at_lowest.why
    # inside the box, before the main fuse, lies no cable: nothing is left open of that loop
    inside = [next(p for p in made[x].circuit.places if p.title.startswith("inside the box"))
              for x in ("unknown", "3.2 m")]
    assert inside[0].at_highest.clears == inside[1].at_highest.clears

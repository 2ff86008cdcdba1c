"""What a figure of a part holds at: an AC sheet shows nothing of what is broken in DC.

A rating in AC alone says nothing about DC, nor does any breaking figure printed beside it, and a
breaking figure holds up to the rated voltage (common practice). Every part here is invented.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.clearing import branch_sheet, fuse_named
from packcalc.findings import leaf
from packcalc.handover.bill import bill
from packcalc.handover.build import build_sheet
from packcalc.handover.commission import plan_of
from packcalc.part_checks.contactor import (
    CarryDemand, SwitchDemand, contactor_part_checks, relay_part_checks,
)
from packcalc.part_checks.disconnect import connector_part_checks, disconnect_part_checks
from packcalc.part_checks.fuse import (
    FuseDemand, breaking_check, fuse_part_checks, selective,
)
from packcalc.part_checks.sweep import contactor_side, fuse_side
from packcalc.part_checks.unbroken import unbroken
from packcalc.parts import COLUMNS, FUSE, IN_DC
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.reading.parts_list import parts_from_text
from packcalc.report.brief_report import check_document
from packcalc.report.render import render
from tests.cases.studies import study
from tests.test_overvoltage import OPEN_CHAIN

FUSE_ROW = {"kind": "fuse", "name": "Mains 400", "class": "gG", "rated_current": "400 A",
            "breaking_capacity": "100 kA", "clearing_i2t": "120000 A2s",
            "clearing_i2t_at": "690 V", "cut_off_current": "16 kA", "arc_voltage": "950 V",
            "melting": "0.01 s: 3600 A; 1 s: 1560 A; 10 s: 1220 A",
            "clearing": "0.01 s: 4400 A; 1 s: 1800 A; 10 s: 1360 A"}
SWITCH_ROW = {"continuous_current": "400 A", "break_discharge": "5000 A", "poles": "1",
              "polarised": "no", "break_time_constant": "10 ms", "break_charge": "5000 A"}
CONTACTOR_ROW = {"kind": "contactor", "name": "Mains switch", **SWITCH_ROW,
                 "make_current": "900 A", "make_and_pass": "200000 A2s", "opening_time": "15 ms"}
ASKED = ("DC breaking capacity above the highest fault",
         "Total clearing I²t stated at or above the working voltage",
         "Arc voltage within the insulation of what hangs on the bus")


def f(title: str, unit: str, value: float):
    return leaf(title, "x", unit, value, "invented")


VOLTS = f("highest working voltage", "V", 448.0)
TAU = f("time constant", "ms", 2e-3)


def part(row: dict[str, str], **volts: str):
    row = {**row, **volts}
    (made,) = parts_from_text(",".join(row) + "\n" + ",".join(row.values()) + "\n").parts
    return made


def ac(row: dict[str, str]):
    return part(row, rated_voltage_ac="690 V")


def fuse_demand() -> FuseDemand:
    return FuseDemand(
        highest_voltage=VOLTS, fault_highest=f("highest fault", "A", 15000.0),
        fault_lowest=f("lowest fault", "A", 2000.0), time_constant=TAU,
        counted_time=f("counted", "s", 1.0), continuous_current=f("load", "A", 100.0),
        peak_current=f("peak", "A", 200.0), peak_duration=f("of it", "s", 10.0),
        ambient=f("air", "°C", 313.15), bus_insulation=f("bus", "V", 1500.0))


def carry() -> CarryDemand:
    return CarryDemand(
        highest_voltage=VOLTS, continuous_current=f("load", "A", 100.0),
        peak_current=f("peak", "A", 200.0), peak_duration=f("of it", "s", 10.0),
        ambient=f("air", "°C", 313.15), fault_highest=f("highest fault", "A", 15000.0))


def switch() -> SwitchDemand:
    return SwitchDemand(closing_step=f("step", "A", 300.0),
                        break_discharge=f("load out", "A", 200.0),
                        break_charge=f("load in", "A", 100.0), time_constant=TAU,
                        let_through=f("let-through", "A²s", 1e5))


def of(checks, title: str):
    return next(c for c in checks if title in c.title)


def test_every_figure_of_the_rule_is_a_column():
    assert set(IN_DC) <= {c.name for c in COLUMNS}


@pytest.mark.parametrize("title", ASKED)
def test_an_ac_fuse_passes_nothing_that_is_broken_in_dc(title):
    # the same row rated 690 V DC passes each of them: the test can tell
    assert of(fuse_part_checks(part(FUSE_ROW, rated_voltage_dc="690 V"), fuse_demand()),
              title).verdict == PASS
    found = of(fuse_part_checks(ac(FUSE_ROW), fuse_demand()), title)
    assert found.verdict == NOT_EVALUATED and "not shown to qualify: ask for" in found.reason


def test_an_ac_fuse_is_asked_for_its_dc_breaking_capacity_everywhere():
    fuse = ac(FUSE_ROW)
    told = "ask for the DC breaking capacity"
    assert told in of(fuse_part_checks(fuse, fuse_demand()), ASKED[0]).reason
    assert told in fuse_side(fuse, VOLTS, TAU, 1.0).reasons
    assert told in unbroken(fuse, None, VOLTS, "").open
    every = breaking_check(fuse, VOLTS, f("every source", "A", 15000.0), "string fuse")
    assert every.verdict == NOT_EVALUATED and told in every.reason


def test_what_it_carries_and_how_it_melts_is_alike_in_both():
    fuse = ac(FUSE_ROW)
    assert fuse.rated_current.number == 400.0 and fuse.melting is not None
    assert fuse.rated_voltage_ac.number == 690.0


BREAKS = ("breaks the load, discharging", "breaks the load, charging", "makes the closing step",
          "broken circuit is no more inductive", "closes onto a fault")


@pytest.mark.parametrize("title", BREAKS)
def test_an_ac_contactor_makes_and_breaks_nothing_in_dc(title):
    good = contactor_part_checks(part(CONTACTOR_ROW, rated_voltage_dc="690 V"), carry(), switch())
    assert of(good, title).verdict == PASS
    found = of(contactor_part_checks(ac(CONTACTOR_ROW), carry(), switch()), title)
    assert found.verdict == NOT_EVALUATED and "ask for" in found.reason


def test_an_ac_contactor_counts_nowhere_in_the_sweep():
    side = contactor_side(ac(CONTACTOR_ROW), None, VOLTS, TAU, None)
    assert side.limit == 0.0
    assert "ask for the breaking current in both directions" in side.reasons


@pytest.mark.parametrize("title", ["makes the current into", "breaks the current of a failed"])
def test_an_ac_relay_makes_and_breaks_nothing_in_dc(title):
    good = relay_part_checks(part(CONTACTOR_ROW, rated_voltage_dc="690 V"), carry(), switch())
    assert of(good, title).verdict == PASS
    assert of(relay_part_checks(ac(CONTACTOR_ROW), carry(), switch()),
              title).verdict == NOT_EVALUATED


def test_an_ac_disconnect_is_no_switch_for_dc():
    row = {"kind": "disconnect", "name": "D", **SWITCH_ROW}
    good = disconnect_part_checks(part(row, rated_voltage_dc="690 V"), carry(), switch())
    found = disconnect_part_checks(ac(row), carry(), switch())
    for way in ("discharging", "charging"):
        title = f"opens the load when pulled, {way}"
        assert of(good, title).verdict == PASS and of(found, title).verdict == NOT_EVALUATED


def test_an_ac_connector_breaks_nothing_in_dc():
    row = {"kind": "connector", "name": "K", "break_discharge": "500 A"}
    parted = "opens the load when parted"
    assert of(connector_part_checks(part(row, rated_voltage_dc="690 V"), carry()),
              parted).verdict == PASS
    assert all(parted not in c.title for c in connector_part_checks(ac(row), carry()))


@pytest.mark.parametrize(("volts", "verdict", "words"), [
    ({"rated_voltage_dc": "448 V"}, PASS, ""),            # on the border the figure holds
    ({"rated_voltage_dc": "440 V"}, NOT_EVALUATED, "the figure holds at 440.0 V DC"),
    ({}, NOT_EVALUATED, "ask for the rated DC voltage, at which the figure holds")])
def test_a_breaking_figure_holds_at_its_rated_dc_voltage(volts, verdict, words):
    fuse, switched = part(FUSE_ROW, **volts), part(CONTACTOR_ROW, **volts)
    held = [of(fuse_part_checks(fuse, fuse_demand()), ASKED[0]),
            *(of(contactor_part_checks(switched, carry(), switch()), t) for t in BREAKS[:3]),
            *(of(relay_part_checks(switched, carry(), switch()), t)
              for t in ("makes the current", "breaks the current"))]
    assert all(c.verdict == verdict and words in c.reason for c in held)


def test_what_lacks_is_asked_for_once_and_in_one_sentence():
    told = of(fuse_part_checks(ac(FUSE_ROW), fuse_demand()), "Opens at the lowest fault").reason
    assert told.count("ask for") == 1 and told.startswith(
        "no clearing curve; not shown to qualify: ask for the rated DC voltage; the DC breaking "
        "capacity; ")
    low = of(fuse_part_checks(part(FUSE_ROW, rated_voltage_dc="440 V"), fuse_demand()),
             "Opens at the lowest fault").reason
    assert low.startswith("its rated voltage 440.0 V is not above 448.0 V; ")
    assert "not shown to qualify: ask for the time constant permitted at 448.0 V" in low


def test_an_arc_voltage_and_a_curve_hold_at_the_rated_voltage_too():
    low, good = (part(FUSE_ROW, rated_voltage_dc=volts) for volts in ("440 V", "500 V"))
    arcs = [of(fuse_part_checks(one, fuse_demand()), "Arc voltage").verdict for one in (good, low)]
    assert arcs == [PASS, NOT_EVALUATED]
    # twice the current at each time: the upper melts later than the lower clears, everywhere
    upper = part({**FUSE_ROW, "name": "U", "melting_i2t": "900000 A2s",
                  "clearing_i2t": "1500000 A2s",
                  "melting": "0.01 s: 9500 A; 1 s: 4000 A; 10 s: 3000 A",
                  "clearing": "0.01 s: 11000 A; 1 s: 4600 A; 10 s: 3400 A"},
                 rated_voltage_dc="500 V")
    held = [selective(upper, one, VOLTS, f("highest", "A", 9000.0)).verdict for one in (good, low)]
    assert held == [PASS, NOT_EVALUATED]


def test_too_little_at_its_own_voltage_stays_a_failure():
    weak = part({**FUSE_ROW, "breaking_capacity": "9 kA", "cut_off_current": "8 kA"},
                rated_voltage_dc="440 V")
    assert of(fuse_part_checks(weak, fuse_demand()), ASKED[0]).verdict == FAIL


def test_the_shipped_ac_sheet_is_asked_for_dc():
    found = study("truck", parts__main_fuse="Brevik 315 mains")
    one = next(c for i in found.items if i.key == "main_fuse" for c in i.candidates
               if c.name == "Brevik 315 mains")
    held = of(one.checks, ASKED[0])
    assert held.verdict == NOT_EVALUATED
    assert held.reason == "not shown to qualify: ask for the DC breaking capacity"
    said = " ".join(render(check_document(found.brief), "text").split())
    assert "such figures of that row do not count" in said


def test_a_branch_fuse_of_an_ac_sheet_breaks_nothing_shown():
    found = study("truck")
    branch = next(b for b in found.brief.branch if b.fuse_part)
    row = found.brief.parts.list.part(FUSE, branch.fuse_part)
    named = fuse_named(found.coordination, found.brief)
    ends = f("lowest", "A", 500.0), f("highest", "A", 9000.0)
    shown = branch_sheet(named, branch, *ends)
    assert shown.breaking.number == row.breaking_capacity.number
    ac_row = replace(row, rated_voltage_dc=None,
                     rated_voltage_ac=f("AC", "V", 690.0)).in_direct_current
    listed = replace(found.brief.parts.list, parts=tuple(
        ac_row if p is row else p for p in found.brief.parts.list.parts))
    brief = replace(found.brief, parts=replace(found.brief.parts, list=listed))
    assert not branch_sheet(fuse_named(found.coordination, brief), branch, *ends).breaking.known


@pytest.mark.parametrize("fuse", ["one pole", "mid-pack"])
def test_what_is_bought_and_built_to_a_lower_bound_says_at_least(fuse):
    """The bill, the build sheet and the stages of the first power-up: the same bound."""
    data = {**OPEN_CHAIN, "pack": {"fuse_after": "8"},
            "path": {**OPEN_CHAIN["path"], "main_fuse": fuse}}
    found = study_protection(brief_from_data(data, "open"), "", "strings")
    highest = found.pack.highest_voltage
    assert highest.at_least
    told = [t for line in bill(found) for t in (line.demand, line.note)]
    told += [part.design for part in build_sheet(found).parts]
    told += [t for s in plan_of(found).stages if s.key in ("dead", "monitor", "warm")
             for t in (*s.steps, *(e.how for e in s.expected))]
    written = [t for t in told if highest.shown in t]
    assert len(written) >= 6
    assert [t for t in written if f"at least {highest.shown}" not in t
            and f"{highest.shown} or more" not in t] == []

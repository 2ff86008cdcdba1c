"""Hot cells at the first charge, a link nobody described, empty files. All demo data invented.

Charge bands of the class: cell_library/cells/laws.toml, with their source there.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from packcalc.bench.enter import open_session
from packcalc.errors import InputErrors
from packcalc.handover.certifier import certifier_file
from packcalc.handover.commission import plan_of
from packcalc.handover.figures import constant_open, discharge_open
from packcalc.handover.maintain import maintenance
from packcalc.handover.readings import ABOVE, IN_BAND, compare
from packcalc.handover.responder import responder_sheet
from packcalc.pack_charging import by_cell, charge_limits
from packcalc.reading.as_built_file import read_as_built
from packcalc.reading.parts_list import read_parts
from packcalc.reading.readings_file import read_readings
from packcalc.review import read_review
from tests.cases.studies import study
from tests.handover_cases import readings_of

HOT = {"battery__hottest": "58 degC"}  # beyond both hot edges of the class, 45 and 55 °C
NO_LINK = {"inverter__dc_link_capacitance": "unknown"}


def kelvin(celsius: float) -> float:
    return celsius + 273.15


# -- hot cells at the first charge ---------------------------------------------------------------


@pytest.mark.parametrize("name", ["charge.cell_coldest", "charge.cell_hottest"])
def test_the_first_charge_ends_where_the_hot_band_bears_less(name) -> None:
    sized = study("truck", **HOT)
    plan = plan_of(sized)
    assert plan.reading(name).high.number == pytest.approx(kelvin(45.0))
    for value, verdict in (("44 °C", IN_BAND), ("46 °C", ABOVE), ("57 °C", ABOVE)):
        file = readings_of(sized, f"{name},{value},,,2026-05-10,,\n")
        assert compare(plan.reading(name), file.readings).verdict == verdict
    # the whole charger stays allowed below it: 33.64 A is above the 0.1/h of the hot band
    limits = {round(e.number, 2): i.number for e, i in charge_limits(sized.brief, sized.layout)}
    assert limits[kelvin(45.0)] < plan.reading("charge.current").high.number
    assert limits[kelvin(55.0)] == 0.0  # nothing above the last band


def test_the_step_and_the_gate_name_the_hottest_cell() -> None:
    stage = next(s for s in plan_of(study("truck", **HOT)).stages if s.key == "charge")
    assert "Stop where the hottest passes 45.00 °C: hotter they bear less" in stage.steps[0]
    assert "0 A from 55.00 °C" in stage.steps[0]
    assert any("the hottest at 45.00 °C or below" in words for words in stage.gate)


def test_where_no_hot_band_is_in_use_the_hottest_in_use_ends_it() -> None:
    sized = study("truck")  # hottest 42 °C
    assert plan_of(sized).reading("charge.cell_hottest").high is sized.brief.battery.hottest
    stage = next(s for s in plan_of(sized).stages if s.key == "charge")
    assert "Stop where the hottest passes 42.00 °C." in stage.steps[0]


def test_a_hot_band_is_of_the_hottest_cell_in_use_or_not() -> None:
    for sized in (study("truck"), study("truck", **HOT)):
        cold, hot = by_cell(charge_limits(sized.brief, sized.layout, beyond=True))
        assert [round(e.number - 273.15, 2) for e, _ in hot] == [45.0, 55.0]
        assert [i.number for _, i in cold] == sorted(i.number for _, i in cold)
        told = [o for i in sized.items for o in i.open_items if "set at most" in o]
        assert len(told) == 2
        for words in told:
            before, _, after = words.partition(" of the coldest cell, ")
            assert "45.00 °C" not in before
            assert after.startswith(f"{hot[0][1].shown} above 45.00 °C, 0 A above 55.00 °C of the "
                                    "hottest")


def test_the_note_of_a_layout_names_the_hot_end_too() -> None:
    note = next(n for n in study("truck", **HOT).pack.notes if "full current" in n)
    assert "only above 5.000 °C and up to 45.00 °C; elsewhere the management" in note
    cold = next(n for n in study("truck").pack.notes if "full current" in n)
    assert "only above 5.000 °C; below it the management" in cold


# -- a link that nobody described ----------------------------------------------------------------


def test_an_open_link_is_no_upper_bound_on_any_page() -> None:
    sized = study("truck", **NO_LINK)
    said = "DC-link capacitance is not known, counted with 3.000 mF"
    # a smaller one than is counted lets the link rise further, and the fall begin higher
    assert discharge_open(sized) == (said, "parts of the over-voltage chain are not evaluated")
    sheet = " ".join(w for h in responder_sheet(sized).headings for w in h.known)
    assert "COUNT ON THE LINK ABOVE 60 V FOR LONGER THAN" in sheet and "in up to" not in sheet
    waits = " ".join(w for e in maintenance(sized).events for w in e.actions)
    assert f"it may fall sooner or stay far longer ({said}" in waits
    assert " and longer for the link" not in waits
    assert any(said in row.known for row in certifier_file(sized).answers)
    for name in ("weld.fall_time", "supply.discharge_constant", "supply.discharge_alone",
                 "dead.link_capacitance"):
        assert said in plan_of(sized).reading(name).title


def test_an_open_tolerance_of_link_or_resistor_is_told_too() -> None:
    # van: dc_link_tolerance = "unknown", discharge_tolerance left out
    alone = constant_open(study("van"), alone=True)
    assert alone == ("tolerance of the DC-link capacitance is not known, counted with 20.00 %",
                     "tolerance of the discharge resistor is not known, counted with 10.00 %")
    charger = study("van", branch={"charger": {"capacitance": "unknown"}})
    assert set(alone) < set(discharge_open(charger))
    # no resistor is known, so there is no fall that its tolerance would change
    assert discharge_open(study("truck")) == () == constant_open(
        study("minibus", inverter__discharge_resistance="unknown"), alone=True)


# -- an empty file names its own door ------------------------------------------------------------


@pytest.mark.parametrize(("read", "door"), [
    (lambda p: read_readings(p, {}), "`packcalc commission BRIEF --form FILE`"),
    (lambda p: read_as_built(p, {}, ""), "`packcalc build BRIEF --form FILE`"),
    (read_review, "`packcalc review BRIEF --out FILE.csv`"),
    (read_parts, "`packcalc columns parts`"),
    (open_session, "`packcalc bench --enter SHEET` begins a new one")])
@pytest.mark.parametrize("data", [b"", b"\xef\xbb\xbf \r\n"])
def test_an_empty_file_names_its_own_door(tmp_path: Path, read, door, data) -> None:
    empty = tmp_path / "empty.csv"
    empty.write_bytes(data)
    with pytest.raises(InputErrors) as caught:
        read(empty)
    (fault,) = map(str, caught.value.faults)
    assert "is empty; " in fault and door in fault and "packcalc new" not in fault

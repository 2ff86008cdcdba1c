"""Item 14 of the certifier's file: the discharge resistor's power, and the energy left."""

from __future__ import annotations

import pytest

from packcalc.handover.certifier import certifier_file
from packcalc.protect.insulation import ENERGY_LIMIT
from packcalc.protection import ProtectionStudy
from packcalc.report.certify_report import certify_document
from packcalc.report.render import render
from packcalc.units import from_si
from tests.cases.studies import study
from tests.sized import example


def answer(name: str, sized: ProtectionStudy | None = None):
    return next(a for a in certifier_file(sized or example(name)).answers if a.asked.number == 14)


@pytest.mark.parametrize("name", ["truck", "van"])
def test_power_and_energy_left_are_filled(name: str) -> None:
    study, found = example(name), {f.title: f for f in answer(name).figures}
    inverter = study.brief.inverter
    # P = V²/R, definition; the smallest resistor takes most.
    least = inverter.discharge_resistance.number * (1 - inverter.discharge_tolerance.number)
    power = found["power in the discharge resistor while the bus is live"]
    assert power.number == pytest.approx(study.pack.highest_voltage.number ** 2 / least)
    # ½·C·V²: power-electronics-2014, example 2.4, at 60 V with the capacitance counted when full.
    full = found["energy of the charged DC link"]
    left = found["energy left in the DC link at 60.00 V"]
    ratio = (60.0 / from_si(study.pack.highest_voltage.number, "V")) ** 2
    assert left.number == pytest.approx(full.number * ratio)
    # 0.2 J: ISO 6469-4:2015, 5.2.3.
    limit = found[ENERGY_LIMIT.title]
    assert (limit.number, limit.source) == (0.2, "iso-6469-4-2015")
    assert left.number > limit.number and "does not show the limit" in answer(name).known
    assert power.shown.split()[0] in render(certify_document(study), "text")


def test_without_a_resistor_stands_what_is_asked_of_one() -> None:
    sized = study("minibus", inverter__discharge_resistance="unknown")
    item = next(i for i in sized.items if i.key == "precharge")
    asked = [f for f in item.duty if "bleed" in f.title]
    found = answer("minibus", sized)
    assert len(asked) == 2 and all(f in found.figures for f in asked)
    assert "not in the brief" in found.known
    assert any(f.title.startswith("energy left") for f in found.figures)

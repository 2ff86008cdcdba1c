"""The traced formula: chains, bases, worked lines, dimensions."""

from __future__ import annotations

import numpy as np
import pytest
from packcalc import catalogue, electrical, units
from packcalc.errors import OutOfRange, ProgramFault
from packcalc.findings import (
    BASES,
    digits_to_reproduce,
    formula,
    largest,
    leaf,
    smallest,
    trace,
    worked,
)

FORMULAS = catalogue.all_formulas()


def _e(value=345.6):
    return leaf("open-circuit voltage", "E", "V", value, "measured")


def _sag():
    return trace(electrical.constant_power_current, open_circuit_voltage=_e(),
                 resistance=leaf("resistance", "R", "Ω", 0.2, "given"),
                 power=leaf("power", "P", "kW", 90e3, "given"))


def test_a_finding_keeps_its_chain():
    finding = _sag()
    assert [f.symbol for f in finding.walk()] == ["E", "R", "P", "I"]
    assert finding.weakest == "given"
    assert worked(finding) == "E = 345.6 V, R = 0.2000 Ω, P = 90000 W"


def test_the_weakest_link_names_the_ground():
    weak = leaf("resistance", "R", "Ω", 0.2, "remembered")
    finding = trace(electrical.loaded_voltage, open_circuit_voltage=_e(),
                    current=leaf("current", "I", "A", 300.0, "given"), resistance=weak)
    assert finding.weakest == "remembered"


def test_more_figures_are_printed_only_where_a_difference_asks_for_them():
    close = trace(electrical.loaded_voltage, open_circuit_voltage=_e(345.678),
                  current=leaf("current", "I", "A", 1000.0, "given"),
                  resistance=leaf("resistance", "R", "Ω", 0.34511, "given"))
    assert digits_to_reproduce(close) > 4
    assert digits_to_reproduce(_sag()) == 4


def test_inputs_must_be_complete_and_known():
    with pytest.raises(ProgramFault, match="without 'power'"):
        trace(electrical.constant_power_current, open_circuit_voltage=_e(), resistance=_e())
    with pytest.raises(ProgramFault, match="no value"):
        trace(electrical.loaded_voltage, open_circuit_voltage=_e(None), current=_e(),
              resistance=_e())


def test_choosing_names_the_rivals():
    low, high = _e(300.0), _e(400.0)
    assert largest([low, high], "top").number == 400.0
    assert "300.0 V" in largest([low, high], "top").note
    assert smallest([low, high], "bottom").number == 300.0


def test_a_formula_without_source_must_be_a_definition():
    with pytest.raises(ProgramFault, match="needs a source"):
        formula(title="t", symbol="x", unit="V", text="x = a", inputs={"a": "a [V] a"},
                basis="read")(lambda a: a)


def _missing(name):
    """What the description of one formula lacks."""
    entry = FORMULAS[name]
    if entry.basis not in BASES:
        yield f"{name}: basis {entry.basis}"
    yield from (f"{name}: unit {unit}" for unit in (entry.unit, *(i.unit for i in entry.inputs))
                if not units.known_unit(unit))
    if not ("Examples:" in entry.function.__doc__ and ">>>" in entry.function.__doc__):
        yield f"{name}: no worked example"
    if not (entry.text and entry.title and entry.symbol):
        yield f"{name}: text, title or symbol"


def test_every_formula_is_fully_described():
    assert len(FORMULAS) > 200
    assert [line for name in sorted(FORMULAS) for line in _missing(name)] == []


# The arbitrary point lies outside the range of these.
OUTSIDE = {"cable_ambient_factor", "two_wire_loop_inductance"}


def test_scalar_equals_vector():
    outside = set()
    for name, entry in FORMULAS.items():
        rng = np.random.default_rng(7)
        base = np.array([units.into_si(v, i.unit) for i, v in zip(
            entry.inputs, rng.uniform(0.4, 0.9, len(entry.inputs)), strict=True)], dtype=float)
        try:
            scalar = float(entry.function(*base))
        except OutOfRange:
            outside.add(name)
            continue
        vector = np.asarray(entry.function(*[np.array([v, v]) for v in base]), dtype=float)
        assert vector.ravel().tolist() == pytest.approx([scalar] * vector.size, rel=1e-12,
                                                        nan_ok=True), name
    assert outside == OUTSIDE

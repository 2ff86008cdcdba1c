"""Creepage, clearance and gloves from their standard tables, always the row on the safe side."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from packcalc.findings import Finding, formula, leaf, trace
from packcalc.tables import table
from packcalc.value import replace

GROUP_COLUMN = {"I": "1", "II": "2", "IIIa": "3", "IIIb": "3"}
CATEGORY_COLUMN = {"I": "1", "II": "2", "III": "3", "IV": "4"}

DOUBLED = leaf("reinforced against basic creepage", "f", "", 2.0, "read", source="iec-60664-1")
COPIES = "seen in the code of two typed copies; the sentence of the standard was not seen"
RAISED = leaf("reinforced against basic impulse voltage", "f", "", 1.6, "remembered, consistent",
              source="iec-60664-1", note=COPIES)


@formula(
    title="A factor times a distance", symbol="d", unit="mm", text="d = f·d0",
    inputs={"factor": "f [] factor", "distance": "d0 [mm] distance"}, basis="definition")
def scaled_distance(factor: Any, distance: Any) -> Any:
    """Distance with a factor of a standard.

    Examples:
        >>> round(scaled_distance(1.29, 5.5e-3), 6)
        0.007095
    """
    return factor * distance


@formula(
    title="A factor times an impulse voltage", symbol="U_imp", unit="kV", text="U_imp = f·U0",
    inputs={"factor": "f [] factor", "voltage": "U0 [kV] impulse voltage"}, basis="definition")
def raised_voltage_step(factor: Any, voltage: Any) -> Any:
    """The 160 % form of the impulse voltage for reinforced insulation.

    Examples:
        >>> raised_voltage_step(1.6, 10e3)
        16000.0
    """
    return factor * voltage


@formula(
    title="Impulse voltage counted for reinforced insulation", symbol="U_re", unit="kV",
    text="U_re = max(U_st, U_160)",
    inputs={"step": "U_st [kV] next preferred step above the rated impulse voltage",
            "raised": "U_160 [kV] 160 % of the rated impulse voltage"},
    basis="assumed", source="packcalc-rule",
    where="reinforced clearance is that of the next preferred step, or of 160 %, after typed copies"
          " of IEC 60664-1; its own sentence was not seen, nor which form holds when",
    safe_side="high: the larger of the two forms, read at the row not below it")
def reinforced_step(step: Any, raised: Any) -> Any:
    """The larger of the two forms that copies of the standard show.

    Examples:
        >>> float(reinforced_step(6e3, 6.4e3))
        6400.0
    """
    return np.maximum(step, raised)


def impulse_voltage(voltage: Finding, category: str) -> Finding:
    """Rated impulse voltage of IEC 60664-1 Table F.1; the row not below the voltage.

    Raises:
        OutOfRange: above 1500 V.
    """
    column = f"category{CATEGORY_COLUMN[category]}_kV"
    found = table("impulse_iec60664")
    row = found.at_or_above("voltage_V", voltage.number, want=column)
    return found.finding(row, column, f"rated impulse voltage, overvoltage category {category}",
                         "U_imp", "kV", float(row[column] or 0.0) * 1e3)


def reinforced_impulse(impulse: Finding) -> Finding:
    """The larger of the next preferred step and 160 %; 160 % alone off the series and at its end.
    """
    found = table("clearance_iec60664")
    steps = [float(r["impulse_kV"]) * 1e3 for r in found.rows if r["series"] == 1.0]
    after = [s for s in steps if s > impulse.number * (1 + 1e-9)]
    in_series = any(math.isclose(s, impulse.number) for s in steps)
    raised = trace(raised_voltage_step, "160 % of the rated impulse voltage", factor=RAISED,
                   voltage=impulse)
    if not (in_series and after):
        return trace(reinforced_step, step=raised, raised=raised,
                     note="no preferred step to go by: 160 % alone")
    row = next(r for r in found.rows if math.isclose(float(r["impulse_kV"]) * 1e3, after[0]))
    step = found.finding(row, "impulse_kV", "next preferred step of impulse voltage", "U_st", "kV",
                         after[0])
    return trace(reinforced_step, step=step, raised=raised)


def altitude_factor(altitude: Finding) -> Finding:
    """Factor on clearance; the row at or above the altitude, 1 up to 2000 m.

    Raises:
        OutOfRange: above 20 000 m.
    """
    found = table("altitude_iec60664")
    row = found.at_or_above("altitude_m", altitude.number, want="factor")
    return found.finding(row, "factor", "factor for altitude", "f", "", float(row["factor"] or 0))


def clearance(impulse: Finding, pollution_degree: Finding, altitude: Finding,
              title: str) -> Finding:
    """Clearance in air of Table F.2 at the altitude; the row not below the impulse voltage.

    Raises:
        OutOfRange: an impulse voltage above 20 kV.
    """
    column = f"pd{int(pollution_degree.number)}_mm"
    found = table("clearance_iec60664")
    row = found.at_or_above("impulse_kV", impulse.number / 1e3 - 1e-9, want=column)
    base = found.finding(row, column, f"clearance of the row of {row['impulse_kV']:g} kV, basic "
                         "insulation, up to 2000 m", "d0", "mm",
                         float(row[column] or 0.0) * 1e-3)
    base = replace(base, inputs=(impulse,))  # the row is the impulse's, by its rule
    return trace(scaled_distance, title, factor=altitude_factor(altitude), distance=base,
                 note=f"for {impulse.shown} impulse")


def creepage(voltage: Finding, pollution_degree: Finding, group: str) -> Finding:
    """Basic creepage; the row not below the voltage, no interpolation.

    Raises:
        OutOfRange: above 2000 V.
    """
    degree = int(pollution_degree.number)
    column = "pd1_mm" if degree == 1 else f"pd{degree}_group{GROUP_COLUMN[group]}_mm"
    found = table("creepage_iec60664")
    row = found.at_or_above("voltage_V", voltage.number, want=column)
    return found.finding(row, column, f"creepage, basic insulation, pollution degree {degree}, "
                         f"group {group}", "d_cr", "mm", float(row[column] or 0.0) * 1e-3)


def glove_class(voltage: Finding) -> tuple[str, Finding]:
    """The lowest class of rubber gloves for a DC voltage, with its label's colour.

    Raises:
        OutOfRange: above class 4.
    """
    found = table("glove_classes")
    row = found.at_or_above("use_dc_V", voltage.number, want="use_dc_V")
    return f"class {row['class']} ({row['note']} label)", found.finding(
        row, "use_dc_V", f"highest DC voltage of class {row['class']} gloves", "U", "V",
        float(row["use_dc_V"] or 0.0))

"""Creepage, clearance and gloves from their standard tables, always the row on the safe side."""

from __future__ import annotations

import math
from typing import Any

from packcalc.findings import Finding, formula, leaf, trace
from packcalc.tables import table

GROUP_COLUMN = {"I": "1", "II": "2", "IIIa": "3", "IIIb": "3"}
CATEGORY_COLUMN = {"I": "1", "II": "2", "III": "3", "IV": "4"}

DOUBLED = leaf("reinforced against basic creepage", "f", "", 2.0, "read", source="iec-60664-1")
RAISED = leaf("reinforced against basic impulse voltage outside the preferred steps", "f", "", 1.6,
              "read", source="iec-60664-1")


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
    """Impulse voltage for reinforced insulation outside the preferred steps.

    Examples:
        >>> raised_voltage_step(1.6, 10e3)
        16000.0
    """
    return factor * voltage


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
    """The next preferred step; 160 % outside the series or above its end."""
    found = table("clearance_iec60664")
    steps = [float(r["impulse_kV"]) * 1e3 for r in found.rows if r["series"] == 1.0]
    after = [s for s in steps if s > impulse.number * (1 + 1e-9)]
    in_series = any(math.isclose(s, impulse.number) for s in steps)
    if not (in_series and after):
        return trace(raised_voltage_step, "impulse voltage for reinforced insulation, 160 %",
                     factor=RAISED, voltage=impulse)
    row = next(r for r in found.rows if math.isclose(float(r["impulse_kV"]) * 1e3, after[0]))
    return found.finding(row, "impulse_kV", "impulse voltage for reinforced insulation, next "
                         "preferred step", "U_imp", "kV", after[0])


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
    base = found.finding(row, column, f"{title}, up to 2000 m", "d0", "mm",
                         float(row[column] or 0.0) * 1e-3)
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

"""Formulas of fuse ratings: derating by one published method at a time, peaks, cables.

Factors of one method are never put into a sum of another; each method starts from its own
reference temperature.
"""

from __future__ import annotations

import numpy as np

from packcalc.errors import OutOfRange
from packcalc.findings import formula, leaf

GUIDE = "semiconductor-fuse-guide"
COUNTED_ON = leaf(
    "Longest time in which a fuse is counted on to open", "t", "s", 1.0, "assumed",
    source="packcalc-rule",
    note="packcalc's own rule: a shorted lithium cell does not hold its current for longer")
HOTTEST_PART = leaf(
    "Temperature constant of the link", "a", "°C", 130.0 + 273.15, "read", source=GUIDE,
    note="lower end of 130 to 150 °C: errs to the larger rating")
RATING_AMBIENT = leaf(
    "Ambient at which the link was rated", "θ0", "°C", 25.0 + 273.15, "read", source=GUIDE,
    note="lower end of 25 to 30 °C: errs to the larger rating")
FLUCTUATION = leaf(
    "Fluctuating-load factor", "A′2", "", 0.58, "read", source="semiconductor-fuse-sheets",
    note="0.58 to 0.6 on the sheets read, 0.8 in the guide for fewer than 12 stops a day; the "
         "lowest is taken, as for a load that lets the link cool between peaks")


@formula(
    title="Ambient factor of a fuse", symbol="A1", unit="",
    text="A1 = √((a − θa) / (a − θ0))",
    inputs={"ambient": "θa [°C] air around the fuse",
            "hottest_part": "a [°C] constant of the link",
            "rating_ambient": "θ0 [°C] ambient of its rating"},
    valid="θa below a, θ0 below a; method A only, never with factors of another method",
    safe_side="low: take the lowest a and the lowest θ0 of the range",
    basis="read", source=GUIDE, where="pages 35, 37 and 45",
)
def fuse_ambient_factor(ambient, hottest_part, rating_ambient):
    """Share of its rated current that a fuse carries in warmer air.

    Examples:
        >>> round(float(fuse_ambient_factor(60 + 273.15, 130 + 273.15, 30 + 273.15)), 5)
        0.83666
    """
    if np.any(np.asarray(ambient) >= np.asarray(hottest_part)):
        raise OutOfRange("air around the fuse is at or above the link's own limit "
                         f"({float(np.min(hottest_part)) - 273.15:g} °C); no fuse carries "
                         "current there: cool the box or move the fuse")
    return np.sqrt((hottest_part - ambient) / (hottest_part - rating_ambient))


@formula(
    title="Least rated current before the conductor factor", symbol="In,0", unit="A",
    text="In,0 = I / (A1·A′2)",
    inputs={"load_current": "I [A] continuous, RMS",
            "ambient_factor": "A1 [] ambient factor",
            "fluctuation_factor": "A′2 [] fluctuating-load factor"},
    valid="still air, DC; the conductor factor C1 is not in it and can only raise it",
    safe_side="high: a larger link runs cooler; the cable bounds it from above",
    basis="read", source=GUIDE, where="pages 35 and 37; proximity factor 1 at DC",
)
def fuse_rating_before_conductor(load_current, ambient_factor, fluctuation_factor):
    """Rated current asked by the load, conductors being as large as in the type test.

    Examples:
        >>> round(fuse_rating_before_conductor(200.0, 0.837, 1.0), 2)
        238.95
    """
    return load_current / (ambient_factor * fluctuation_factor)


@formula(
    title="Least rated current", symbol="In", unit="A", text="In = In,0 / C1",
    inputs={"before": "In,0 [A] before the conductor factor",
            "conductor_factor": "C1 [] maker's factor for the conductors joined to the fuse"},
    valid="C1 above 0 and at most 1, from the maker's sheet",
    safe_side="high: a larger link runs cooler; the cable bounds it from above",
    basis="read", source=GUIDE, where="pages 35 and 37",
)
def fuse_rating_with_conductor(before, conductor_factor):
    """Rated current asked by the load with the conductors that are really joined.

    Examples:
        >>> round(fuse_rating_with_conductor(238.95, 0.85), 1)
        281.1
    """
    if np.any(np.asarray(conductor_factor) <= 0) or np.any(np.asarray(conductor_factor) > 1):
        raise OutOfRange("conductor factor must be above 0 and at most 1; "
                         f"got {conductor_factor!r:.40}")
    return before / conductor_factor


@formula(
    title="Melting current asked at the length of the peak", symbol="Im", unit="A",
    text="Im = Ip / B",
    inputs={"peak_current": "Ip [A] repeated or occasional overload",
            "share": "B [] largest share of the melting current (B′2, or Cf3 if occasional)"},
    valid="on/off load; Im is read from the melting curve at the length of the peak",
    safe_side="high: the peak stays further from melting the link",
    basis="read", source=GUIDE, where="page 12, Table 3; page 36 for Cf3",
)
def fuse_melting_current_demand(peak_current, share):
    """Current at which the link may melt at the earliest within the length of the peak.

    Examples:
        >>> round(fuse_melting_current_demand(350.0, 0.35), 1)
        1000.0
    """
    return peak_current / share


@formula(
    title="Largest rating that protects a cable against overload", symbol="In", unit="A",
    text="In = min(1.45·Iz / k2, Iz)",
    inputs={"cable_current": "Iz [A] corrected current-carrying capacity",
            "fusing_factor": "k2 [] conventional fusing current over rated current"},
    valid="full-range links only; never above Iz itself",
    safe_side="low: a smaller link opens sooner and spares the cable",
    basis="read", source="iec-60364-4-43", where="clause 433.1, I2 ≤ 1.45 Iz",
)
def fuse_rating_cable_limit(cable_current, fusing_factor):
    """Rated current at which I2 = k2·In just meets 1.45·Iz, and never more than Iz.

    Examples:
        >>> round(float(fuse_rating_cable_limit(200.0, 1.6)), 2)
        181.25
    """
    return np.minimum(1.45 * cable_current / fusing_factor, cable_current)


@formula(
    title="Least rated current by the sheet's own factors", symbol="In", unit="A",
    text="In = I / (Kt·Kf·Ke)",
    inputs={"load_current": "I [A] continuous, RMS",
            "ambient_factor": "Kt [] sheet's factor at the ambient",
            "fluctuation_factor": "Kf [] sheet's factor for fluctuating load",
            "conductor_factor": "Ke [] sheet's factor for the conductors joined"},
    basis="read", source="semiconductor-fuse-guide",
    where="pages 35 and 37: the rated current is divided by each factor",
    valid="all factors from one data sheet; still air, DC, up to 2,000 m",
    safe_side="high: a larger link runs cooler; the cable bounds it from above",
)
def fuse_rating_by_sheet(load_current, ambient_factor, fluctuation_factor, conductor_factor):
    """Rated current asked by the load with the factors of the link's own sheet.

    Examples:
        >>> round(fuse_rating_by_sheet(180.0, 0.9, 1.0, 0.98), 1)
        204.1
    """
    return load_current / (ambient_factor * fluctuation_factor * conductor_factor)


@formula(
    title="Share of the melting current that a share of the melting I²t is", symbol="B",
    unit="", text="B = √p",
    inputs={"share": "p [] share of the melting I²t"},
    valid="one pulse length, the melting current taken at that length", basis="definition",
    where="I²t goes with the square of the current",
)
def pulse_current_share(share):
    """The published shares of I²t and of current on one footing.

    Examples:
        >>> round(float(pulse_current_share(0.22)), 3)
        0.469
    """
    return np.sqrt(share)

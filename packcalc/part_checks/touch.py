"""Touch, bonds, the charge inlet and the AC side: demands that only the built vehicle shows.

Each stands in the protection with its source, "not evaluated" where no entry of the brief
could show it, so that nobody reads silence as a pass.
"""

from __future__ import annotations

from packcalc.checks import FAIL, NOT_EVALUATED, Check, Requirement, judge
from packcalc.findings import Finding, Origin, leaf
from packcalc.part_checks.shown import never_above

STAGE = "isolation and distance"
JOINED = leaf("isolation demanded where DC and AC side are conductively joined", "r", "Ω/V", 500.0,
              "read", source="un-r100", origin=Origin("paragraph 5.1.3.2"),
              note="every pack with a running inverter; 100 Ω/V only with doubled insulation or "
                   "robust housings on the AC side")
BORDER = leaf("border of dangerous DC voltage", "v", "V", 60.0, "read", source="fmvss-305-2017")
BOND = leaf("resistance from exposed metal to chassis", "R_b", "Ω", 0.1, "read",
            source="un-r100-bonding", origin=Origin("paragraph 5.1.2.2"))
BOND_CURRENT = leaf("current of the bond measurement", "I", "A", 0.2, "read",
                    source="un-r100-bonding", origin=Origin("paragraph 5.1.2.2"))
INLET_TIME = leaf("time from parting a connector to 60 V", "t", "s", 1.0, "read",
                  source="fmvss-305-connectors", origin=Origin("82 FR 44945, 84 FR 44254"))
INLET_INSULATION = leaf("insulation of the charge inlet's AC side", "R", "MΩ", 1e6, "read",
                        source="un-r100", origin=Origin("paragraph 5.1.3.4"),
                        note="read in a national text that copies the regulation")


def touch_checks(voltage: Finding, fall: Finding | None) -> tuple[Check, ...]:
    """What no entry of the brief can show: demands, to be measured on the built vehicle.

    Args:
        voltage: highest working voltage.
        fall: of the DC link to 60 V through its own resistor; None where not known.
    """
    return (
        Check("exposed metal is bonded to chassis", STAGE, NOT_EVALUATED, None, BOND, "at most",
              f"no entry of the brief: measure each part to chassis at {BOND_CURRENT.shown} or "
              "more; a welded joint needs no reading", "bonding straps, bare metal under them"),
        Check("no live part can be touched", STAGE, NOT_EVALUATED, reason="no entry of the brief: "
              "probe every enclosure, IPXXD (wire) in passenger and luggage space, IPXXB (finger) "
              "elsewhere; covers come off with tools alone [un-r100-touch]",
              remedy="barriers, covers with tool-only fixings"),
        _inlet_check(voltage, fall),
        Check("AC side of inverter and charger", STAGE, NOT_EVALUATED, None, JOINED, "at least",
              "no entry of the brief: while the inverter joins both sides, 500 Ω/V holds for all "
              "of it; 100 Ω/V only with doubled insulation or robust housings on the AC side",
              "ask the inverter's and the charger's maker"),
        Check("charge inlet, AC side, plug out", STAGE, NOT_EVALUATED, None, INLET_INSULATION,
              "at least", "no entry of the brief: measure it; earth joins before and parts after "
              "the power contacts", "replace the inlet, dry it"))


def _inlet_check(voltage: Finding, fall: Finding | None) -> Check:
    """60 V within one second of parting, by the link's own fall; else another of the ways."""
    title = "charge inlet: contacts are dead when the plug is out"
    ways = ("no entry of the brief shows one of the three ways: contacts that a finger cannot "
            "reach (IPXXB) when apart; at most 60 V within 1 s, by a charge contactor that opens "
            "before the contacts part; or a lock of two distinct actions behind parts that need "
            "tools")
    if voltage.number <= BORDER.number:
        return never_above(title, STAGE, voltage, BORDER)
    if fall is None:
        return Check(title, STAGE, NOT_EVALUATED, None, INLET_TIME, "at most", ways)
    held = judge(title, STAGE, fall, "at most", INLET_TIME,
                 reason="even with the inlet still joined to the link")
    if held.verdict == FAIL:
        return Check(title, STAGE, NOT_EVALUATED, fall, INLET_TIME, "at most",
                     f"the link alone falls too slowly; {ways}", "one of the three ways")
    return held


def touch_lines() -> tuple[Requirement, ...]:
    """The same as lines of the specification."""
    return (
        Requirement("bond of each exposed metal part to chassis", f"at most {BOND.shown} at "
                    f"{BOND_CURRENT.shown} or more", f"UN R100 5.1.2.2 [{BOND.source}]"),
        Requirement("touch protection", "IPXXD in passenger and luggage space, IPXXB elsewhere; "
                    "covers with tools alone", "UN R100 5.1.1 [un-r100-touch]"),
        Requirement("charge inlet and every connector that parts by hand",
                    f"IPXXB when apart, or at most {BORDER.shown} within {INLET_TIME.shown}, or a "
                    "lock of two actions", f"as UN R100 5.1.1.3 [{INLET_TIME.source}]"),
        Requirement("AC side of the inverter, joined to the pack", "500 Ω/V, or doubled insulation "
                    "or robust housings with 100 Ω/V", f"UN R100 5.1.3.2 [{JOINED.source}]"),
        Requirement("charge inlet, AC side, plug out", f"at least {INLET_INSULATION.shown}; earth "
                    "first in, last out",
                    f"UN R100 5.1.3.4 and 5.1.2.3 [{INLET_INSULATION.source}]"))

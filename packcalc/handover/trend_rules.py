"""How far a reading may move from its baseline, and what to do then."""

from __future__ import annotations

from packcalc.findings import Finding
from packcalc.handover.bands import rule
from packcalc.value import value_object


@value_object
class TrendRule:
    """Limits of change for the ids that begin so.

    Attributes:
        prefix: of the ids.
        rise, fall: change against the baseline at which to act; None where that way is no harm.
        act: what to do then.
        interval: how often it is read again, in words.
    """

    prefix: str
    rise: Finding | None
    fall: Finding | None
    act: str
    interval: str

    def nearer(self, moved: Finding) -> Finding:
        """The limit on the side to which the reading has moved, else the only one."""
        sides = (self.rise, self.fall) if moved.number >= 0 else (self.fall, self.rise)
        found = next(s for s in sides if s is not None)
        return found


def _rise(words: str, share: float) -> Finding:
    return rule(f"rise against the baseline: {words}", "c_lim", "%", share)


def _fall(words: str, share: float) -> Finding:
    return rule(f"fall against the baseline: {words}", "c_lim", "%", -share)


YEAR = "once a year, and after every opening of the pack"
RULES: tuple[TrendRule, ...] = (
    TrendRule("build.joint_", _rise("joint", 0.20), None,
              "open, clean, torque and measure that joint; at +50 % do not drive until it is",
              "after 1000 km or 3 months, then " + YEAR),
    TrendRule("build.group_", _rise("joint", 0.20), None,
              "open, clean, torque and measure that joint; at +50 % do not drive until it is",
              YEAR),
    TrendRule("build.inside_", _rise("fuse or disconnect", 0.20), None,
              "part by part: fuse, disconnect contacts, their bolted joints; clean or replace",
              YEAR),
    TrendRule("dead.bond_", _rise("bond", 0.50), None, "clean the joint of the strap", YEAR),
    TrendRule("dead.isolation_", None, _fall("isolation", 0.50),
              "find the part that leaks before it reaches the demand", YEAR
              + "; also after rain, washing or a coolant leak"),
    TrendRule("pack.isolation_", None, _fall("isolation", 0.50),
              "find the part that leaks before it reaches the demand", "every 3 months, and "
              "after rain, washing or a coolant leak"),
    TrendRule("retorque.isolation_", None, _fall("isolation", 0.50),
              "find the part that leaks before it reaches the demand", YEAR),
    TrendRule("dead.precharge_resistor", _rise("resistor", 0.05), _fall("resistor", 0.05),
              "replace the resistor: it has been hotter than it bears", YEAR),
    TrendRule("dead.link_capacitance", _rise("capacitance", 0.10), _fall("capacitance", 0.20),
              "ask the inverter's maker: aged link capacitors", YEAR),
    TrendRule("dead.discharge_resistor", _rise("discharge resistor", 0.10),
              _fall("discharge resistor", 0.10), "replace it; the link would stay live", YEAR),
    TrendRule("supply.discharge_constant", _rise("discharge", 0.20), _fall("discharge", 0.20),
              "discharge resistor or capacitors have changed: measure both", YEAR),
    TrendRule("supply.time_constant", _rise("pre-charge", 0.20), _fall("pre-charge", 0.20),
              "resistor or capacitors have changed, or a load was added: measure them", YEAR),
    TrendRule("pack.precharge_time", _rise("pre-charge", 0.20), _fall("pre-charge", 0.20),
              "resistor or capacitors have changed, or a load was added", "every 3 months, "
              "from the log"),
    TrendRule("weld.fall_time", _rise("fall of the link", 0.20), None,
              "discharge path: measure it, label the longer time until mended",
              YEAR + ", from the same voltage and with the branches unplugged as at the first"),
    TrendRule("weld.inlet", _rise("leak past the charge contactor", 1.0), None,
              "an open pole passes what the isolation leaks: inlet and charge cable dried and "
              "measured; 1 V and less is the meter's own", YEAR + ", bus live, plug out"),
    TrendRule("charge.cell_spread", _rise("cell spread", 1.0), None,
              "balance; a cell that drifts again loses charge: take its module out",
              "every 3 months, an hour after a full charge"),
    TrendRule("limited.pack_resistance", _rise("pack resistance", 0.30), None,
              "compare the groups' sags and the joints; read at the same charge and temperature",
              "every 6 months"),
    TrendRule("warm.joint_spread", _rise("joint temperature", 0.50), None,
              "open, clean, torque and measure the hot joint", "every 6 months, same current"),
)


def trend_rule(name: str) -> TrendRule | None:
    """The rule of an id, or None where no trend is followed."""
    return next((r for r in RULES if name.startswith(r.prefix)), None)

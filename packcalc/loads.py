"""What branches draw and feed: loads beside the motor, and what charges through an inlet.

A branch load flows through cells, links, fuse and contactors like any other; wherever it
taps, it is counted in the whole main path, which errs high for the parts behind its tap. So does
a charging current: what the branch of a charger or an inlet says counts as the charger itself.
"""

from __future__ import annotations

from packcalc.brief import Branch, Brief
from packcalc.brief_keys import CHARGERS
from packcalc.findings import AT_LEAST, NO_BOUND, Finding, largest, trace, with_more
from packcalc.transients import current_power, sum_of_powers

LOADS = ("DC/DC converter", "heater", "compressor", "other")


def load_branches(brief: Brief) -> tuple[Branch, ...]:
    """Branches that draw steadily; chargers feed, wires of sensing and pre-charge hardly draw."""
    return tuple(b for b in brief.branch if b.kind in LOADS)


def open_loads(brief: Brief) -> tuple[str, ...]:
    """Names of the loads of which neither power nor current is known."""
    return tuple(b.name for b in load_branches(brief)
                 if not b.power.known and not b.current.known)


def untold(brief: Brief) -> str:
    """Which loads stand in no sum, in words; empty where every one does."""
    names = " and ".join(open_loads(brief))
    return names and f"what {names} draws is not known and in no sum"


def power_of_branches(brief: Brief) -> Finding | None:
    """Power of all branch loads together; None where there is none."""
    total: Finding | None = None
    for branch in load_branches(brief):
        one = _power(brief, branch)
        if one is None:
            continue
        total = one if total is None else trace(
            sum_of_powers, "power of the branch loads", unit="kW", first=total, second=one)
    return total


def _power(brief: Brief, branch: Branch) -> Finding | None:
    if branch.power.known:
        return branch.power.called(f"power of {branch.name}")
    if branch.current.known:
        return trace(current_power, f"power of {branch.name}", unit="kW",
                     voltage=brief.inverter.voltage_high, current=branch.current,
                     note="its current counted at the highest operating voltage: errs high")
    return None


def peak_drawn(brief: Brief) -> Finding:
    """Peak power with every branch load on."""
    return _with_branches(brief, brief.power.peak, "peak power with branch loads")


def continuous_drawn(brief: Brief) -> Finding:
    """Continuous power with every branch load on."""
    return _with_branches(brief, brief.power.continuous, "continuous power with branch loads")


def _with_branches(brief: Brief, motor: Finding, title: str) -> Finding:
    """What an open load draws is in no sum: the power is then the least it can be."""
    more, open_ = power_of_branches(brief), untold(brief)
    note = f"{AT_LEAST}: {open_}" if open_ else ""
    if more is None:
        return motor.called(note="; ".join(filter(None, (note, motor.note)))) if note else motor
    return with_more(trace(sum_of_powers, title, symbol=motor.symbol, unit="kW", note=note,
                           first=motor, second=more), motor.untold_more)


def charging_power(brief: Brief) -> Finding:
    """Largest power that the charger or a branch that charges asks for, current not said."""
    return with_more(_largest([brief.charger.power, *(
        b.power.called(f"power of {b.name}") for b in _charging(brief) if not b.current.known)],
        "charging power"), _station_open(brief))


def _station_open(brief: Brief) -> str:
    """Of a station: that neither it nor its inlets tell what it gives; else empty."""
    inlets = [b for b in brief.branch if b.kind == CHARGERS[1]]
    told = brief.station.current.known or (inlets and all(
        b.current.known or b.power.known for b in inlets))
    return "" if told or not brief.at_a_station else \
        f"station.current is left open and counted as no more than the charger: {NO_BOUND}"


def charging_current_said(brief: Brief) -> Finding | None:
    """Largest charging current that an entry names: of the station, or of a branch."""
    said = [f for f in (brief.station.current, *(b.current.called(f"current of {b.name}")
                                                 for b in _charging(brief))) if f.known]
    return _largest(said, "charging current by its entry") if said else None


def _charging(brief: Brief) -> tuple[Branch, ...]:
    return tuple(b for b in brief.branch if b.kind in CHARGERS)


def _largest(found: list[Finding], title: str) -> Finding:
    known = [f for f in found if f.known]
    return largest(known, title) if len(known) > 1 else known[0]

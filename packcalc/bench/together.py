"""How the assigned modules share the current: full, at the middle, nearly empty."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from packcalc import cells
from packcalc import modules as mod
from packcalc.bench.dealing import Assignment
from packcalc.bench.rules import capacity_share
from packcalc.bench.sharing import Discharge, Network, discharge
from packcalc.brief import Brief
from packcalc.checks import Check, judge
from packcalc.electrical import limit_at_health
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.modules import ModuleType
from packcalc.pack import PackModel
from packcalc.value import replace, value_object

GRID = np.linspace(0.0, 1.0, 501)


@value_object
class Share:
    """One moment of the discharge.

    Attributes:
        at: "full", "middle" or "nearly empty".
        charge: mean charge then.
        currents: of every module at continuous current [A], one row a group or string.
        peaks: the same at peak current [A].
        fair: currents against the fair share by capacity.
    """

    at: str
    charge: float
    currents: np.ndarray
    peaks: np.ndarray
    fair: np.ndarray


@value_object
class Together:
    """Sharing through the discharge.

    Attributes:
        moments: three of them.
        course: the whole discharge.
        worst_place: (row, column) of the highest share against the fair one.
        worst_share: that share; 1 is fair.
        peak, steady: highest module currents with their places.
        checks: against the module's own limits.
    """

    moments: tuple[Share, ...]
    course: Discharge
    worst_place: tuple[int, int]
    worst_share: float
    peak: Finding
    steady: Finding
    checks: tuple[Check, ...]


def middle_voltage(module: ModuleType) -> Any:
    """Charge to the middle of the published rest voltages of one module."""
    table = (mod.ocv_low(module, GRID) + mod.ocv_high(module, GRID)) / 2.0
    return lambda charge: np.interp(charge, GRID, table)


def charge_ratio(module: ModuleType) -> Any:
    """Charge to resistance over that at half charge, held at the ends of the law."""
    law = module.cell.charge
    grid = np.clip(GRID, law.lowest, law.highest)
    table = np.asarray(cells.resistance_charge_factor(module.cell, grid))
    return lambda charge: np.interp(charge, GRID, table)


def network_of(module: ModuleType, assignment: Assignment, capacity: np.ndarray,
               resistance: np.ndarray, start: float, branch_path: float) -> Network:
    """Groups as networks of single modules, or one network of strings."""
    if assignment.arrangement == "strings":
        q, r = capacity[assignment.places][None], resistance[assignment.places][None]
    else:
        q, r = capacity[assignment.places][..., None], resistance[assignment.places][..., None]
    return Network(q, r, np.full(q.shape, start), branch_path, middle_voltage(module),
                   charge_ratio(module))


def share_current(brief: Brief, module: ModuleType, pack: PackModel, assignment: Assignment,
                  dealt: Sequence[Any]) -> Together:
    """Step through a discharge at continuous current; peaks are put on top at three moments.

    A resistance counts as read, even one that is counted worse elsewhere: the least takes most.
    What a module carries at most it is held to: with the least resistance that it may have, beside
    others at the least, or at the most, of theirs.
    """
    q = np.array([d.capacity.number for d in dealt])
    battery, path = brief.battery, brief.path
    top, low = battery.charge_highest.number, battery.charge_lowest.number
    strings = assignment.arrangement == "strings"
    links = path.link_resistance.number * ((pack.layout.series + 1) if strings else 1.0)
    own = links + (path.fuse_resistance.number + 2 * path.contactor_resistance.number
                   if strings else 0.0)
    steady, peak = pack.continuous_current.number, pack.peak_current.number
    times = (("full", top), ("middle", (top + low) / 2), ("nearly empty", low))

    def stepped(r: np.ndarray) -> tuple[Discharge, tuple[Share, ...]]:
        run = discharge(network_of(module, assignment, q, r, top, own), steady, low)
        return run, tuple(_moment(run, name, at, max(peak - steady, 0.0), assignment)
                          for name, at in times)

    runs = [stepped(r) for r in _resistances(assignment, dealt)]
    course, moments = runs[0]
    crests = [np.max([each[k].peaks for _, each in runs], axis=0) for k in range(len(times))]
    highest = _highest(crests, assignment, dealt, "highest peak current of one module", "I_pk,m",
                       [m.at for m in moments])
    whole = np.max([np.abs(_as_places(run.currents, assignment)).max(axis=0)
                    for run, _ in runs], axis=0)
    lasting = _highest([whole], assignment, dealt, "highest continuous current of one module",
                       "I_c,m", ["the discharge"])
    fair = _as_places(course.shares, assignment)
    at = np.unravel_index(int(fair.argmax()), fair.shape)
    column = int(at[2]) if not strings else 0
    checks = held_to_own_limits(module, np.max(crests, axis=0), whole, assignment, dealt)
    return Together(moments, course, (int(at[1]), column), float(fair.max()), highest, lasting,
                    checks)


def _resistances(assignment: Assignment, dealt: Sequence[Any]) -> list[np.ndarray]:
    """What the modules may have: all at the least, then one branch so beside others at the most.

    Each only once: where no resistance is open there is one case.
    """
    least = np.array([d.least_resistance.number for d in dealt])
    most = np.maximum(least, [d.resistance.number for d in dealt])
    places = assignment.places
    cases = [least]
    for branch in places if assignment.arrangement == "strings" else places.T:
        case = most.copy()
        case[branch] = least[branch]
        if not any(np.array_equal(case[places], known[places]) for known in cases):
            cases.append(case)
    return cases


def alone_in_series(module: ModuleType, peak: Finding, steady: Finding, assignment: Assignment,
                    dealt: Sequence[Any]) -> tuple[Check, ...]:
    """Where nothing is paralleled every module carries the whole current, with its own chain.

    Args:
        module: the type.
        peak, steady: currents of the pack as dealt.
        assignment, dealt: which module stands where.
    """
    same = np.ones(assignment.places.shape)
    return held_to_own_limits(module, peak.number * same, steady.number * same, assignment, dealt,
                              (peak, steady))


def held_to_own_limits(module: ModuleType, peaks: np.ndarray, steady: np.ndarray,
                       assignment: Assignment, dealt: Sequence[Any],
                       whole: Sequence[Finding] = ()) -> tuple[Check, ...]:
    """Currents by place, each against the limit of the module there: its own capacity counts.

    Shown is the module that comes nearest to its own limit, or goes farthest beyond.

    Args:
        module, peaks, steady, assignment, dealt: as dealt.
        whole: peak and continuous current of the pack, where each module carries all of it.
    """
    titles = (("peak current of the module nearest its own limit", "I_pk,m"),
              ("continuous current of the module nearest its own limit", "I_c,m"))
    carried = [one.called(*words) for one, words in zip(whole, titles)] or [
        leaf(*words, "A", None, "computed", source="packcalc-rule", origin=Origin("as dealt"))
        for words in titles]
    return (
        _nearest_its_limit(carried[0], peaks, module.peak_current, module, assignment, dealt,
                           "smaller peaks, a module of more capacity there, or more in parallel"),
        _nearest_its_limit(carried[1], steady, module.continuous_current, module, assignment,
                           dealt, "less continuous power, a module of more capacity there, or "
                           "more in parallel"))


def _nearest_its_limit(carried: Finding, currents: np.ndarray, limit: Finding,
                       module: ModuleType, assignment: Assignment, dealt: Sequence[Any],
                       remedy: str) -> Check:
    capacity = np.array([d.capacity.number for d in dealt])[assignment.places]
    health = np.minimum(capacity / module.capacity.number, 1.0)
    row, column = np.unravel_index(int((currents / health).argmax()), currents.shape)
    one = dealt[assignment.places[row, column]]
    own = limit if not limit.known else trace(
        limit_at_health, f"limit of {one.mark} at its own capacity", limit=limit,
        state_of_health=trace(capacity_share, capacity=one.capacity,
                              label_capacity=module.capacity))
    place = f"{one.mark} in place {row + 1}.{column + 1}"
    figure = carried if carried.known else replace(
        carried, value=float(currents[row, column]), note=place)
    return judge(carried.title, "thermal load", figure, "at most", own, reason=place,
                 missing=f"{limit.title} of the module is not known: ask its maker", remedy=remedy)


def _as_places(values: np.ndarray, assignment: Assignment) -> np.ndarray:
    """Currents (steps, networks, branches) to (steps, rows, columns) of the build list."""
    if assignment.arrangement == "strings":
        return np.repeat(values[:, 0, :, None], assignment.places.shape[1], axis=2)
    return values


def _moment(course: Discharge, name: str, charge: float, extra: float,
            assignment: Assignment) -> Share:
    step = course.step_at(charge)
    peaks = course.with_peak(step, extra)
    rows = [_as_places(v[None], assignment)[0]
            for v in (course.currents[step], peaks, course.shares[step])]
    return Share(name, float(course.at[step]), *rows)


def _highest(tables: Sequence[np.ndarray], assignment: Assignment, dealt: Sequence[Any],
             title: str, symbol: str, when: Sequence[str]) -> Finding:
    which = int(np.argmax([t.max() for t in tables]))
    row, column = np.unravel_index(int(tables[which].argmax()), tables[which].shape)
    mark = dealt[assignment.places[row, column]].mark
    return leaf(title, symbol, "A", float(tables[which].max()), "computed",
                source="packcalc-rule", origin=Origin("stepped through the discharge"),
                note=f"{mark} in place {row + 1}.{column + 1}, {when[which]}; Kirchhoff's laws at "
                     f"every step, charge by charge")

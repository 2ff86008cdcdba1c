"""What a management system watches: monitors along a string, trips, balancing."""

from __future__ import annotations

from typing import Any

import numpy as np

from packcalc.findings import formula
from packcalc.value import value_object

RESTARTS, RUNS_ON, LINKS_MEASURED = (
    "restarts at each module", "runs on across links", "runs on, links measured")


@formula(
    title="Voltage of a cell during a fault outside the modules", symbol="u_f", unit="V",
    text="u_f = I·R_x/(1000·n)",
    inputs={"current": "I [A] fault current", "external": "R_x [mΩ] path and cables outside",
            "cells": "n [] cells in series"},
    basis="definition", valid="the rest of the voltage falls inside the modules",
    safe_side="high: current and R_x of one loop, the current the highest that is to be seen")
def fault_cell_voltage(current: Any, external: Any, cells: Any) -> Any:
    """What an under-voltage trip sees of a fault at the far end of the cables.

    Examples:
        >>> fault_cell_voltage(1000.0, 0.02, 100)
        0.2
    """
    return current * external / cells


@formula(
    title="Mean voltage of one cell", symbol="u", unit="V", text="u = U/n",
    inputs={"voltage": "U [V] of all", "cells": "n [] cells in series"}, basis="definition",
    safe_side="the weakest cell lies below")
def cell_share(voltage: Any, cells: Any) -> Any:
    """A pack voltage spread over its cells.

    Examples:
        >>> cell_share(350.0, 100)
        3.5
    """
    return voltage / cells


@formula(
    title="Temperature sensors for a share of the cells", symbol="n_θ", unit="",
    text="n_θ = ⌈n·x/100⌉",
    inputs={"channels": "n [] cell voltages monitored", "share": "x [%] of them seen"},
    basis="definition", safe_side="rounded up")
def sensors_for_share(channels: Any, share: Any) -> Any:
    """Number of sensors when each sees one monitored cell.

    Examples:
        >>> float(sensors_for_share(96, 0.3))
        29.0
    """
    return np.ceil(channels * share - 1e-9)


@formula(
    title="Current that levels a spread of self-discharge", symbol="I_s", unit="mA",
    text="I_s = 1000·Q·(s/100)/720",
    inputs={"capacity": "Q [Ah] of one paralleled group",
            "spread": "s [%] of capacity in 30 days"},
    basis="definition", valid="30 days are 720 hours")
def spread_current(capacity: Any, spread: Any) -> Any:
    """Mean current by which the leakiest cell falls behind.

    Examples:
        >>> round(spread_current(230 * 3600.0, 0.02), 9)
        0.006388889
    """
    return capacity * spread / (720.0 * 3600.0)


@formula(
    title="Spread of self-discharge as read", symbol="s", unit="%", text="s = s_hi − s_lo",
    inputs={"most": "s_hi [%] that the leakiest module may lose in 30 days",
            "least": "s_lo [%] that the tightest loses at least"},
    basis="definition", valid="modules; a single cell of one may lose more",
    safe_side="high: each reading at the bad end of its error and of the published curves")
def spread_read(most: Any, least: Any) -> Any:
    """What the readings of a bench sheet leave open between its modules.

    Examples:
        >>> round(spread_read(0.03, 0.01), 6)
        0.02
    """
    return most - least


@formula(
    title="Mean balance current", symbol="I_m", unit="mA", text="I_m = I_b·x/100",
    inputs={"current": "I_b [mA] while balancing", "share": "x [%] of time balancing"},
    basis="definition")
def mean_balance(current: Any, share: Any) -> Any:
    """Balance current spread over all hours.

    Examples:
        >>> mean_balance(0.2, 0.1)
        0.020000000000000004
    """
    return current * share


@formula(
    title="Time in which balancing moves a share of the capacity", symbol="t_b", unit="h",
    text="t_b = 1000·Q·(x/100)/I_b",
    inputs={"capacity": "Q [Ah] of one paralleled group", "share": "x [%] of it to be moved",
            "current": "I_b [mA] while balancing"},
    basis="definition", valid="I_b > 0", safe_side="balancing without a pause: longer in truth")
def balance_time(capacity: Any, share: Any, current: Any) -> Any:
    """Hours for the first levelling of mixed modules.

    Examples:
        >>> balance_time(200 * 3600.0, 0.01, 0.2) / 3600
        10.0
    """
    return capacity * share / current


@formula(
    title="Deviation of a current sensor", symbol="ΔI", unit="A", text="ΔI = e/100·I_r",
    inputs={"error": "e [%] of range", "full_range": "I_r [A] range"}, basis="definition",
    safe_side="high: a trip is counted that much later, and that much too soon")
def sensor_deviation(error: Any, full_range: Any) -> Any:
    """What a reading may lie off the true current.

    Examples:
        >>> sensor_deviation(0.02, 1000.0)
        20.0
    """
    return error * full_range


@formula(
    title="Lowest true current at which a trip may act", symbol="I_lo", unit="A",
    text="I_lo = max(I_t − e/100·I_r, 0)",
    inputs={"trip": "I_t [A] setting", "error": "e [%] of range", "full_range": "I_r [A] range"},
    basis="definition", valid="0 where the error is as large as the setting: it may act at rest",
    safe_side="low: the trip that comes too soon")
def trip_lowest(trip: Any, error: Any, full_range: Any) -> Any:
    """Setting less the sensor's error; a magnitude, never below zero.

    Examples:
        >>> float(trip_lowest(400.0, 0.02, 1000.0)), float(trip_lowest(400.0, 0.03, 20000.0))
        (380.0, 0.0)
    """
    return np.maximum(trip - error * full_range, 0.0)


@formula(
    title="Highest true current that a trip may let pass", symbol="I_hi", unit="A",
    text="I_hi = I_t + e/100·I_r",
    inputs={"trip": "I_t [A] setting", "error": "e [%] of range", "full_range": "I_r [A] range"},
    basis="definition", safe_side="high: the trip that comes too late")
def trip_highest(trip: Any, error: Any, full_range: Any) -> Any:
    """Setting plus the sensor's error.

    Examples:
        >>> trip_highest(400.0, 0.02, 1000.0)
        420.0
    """
    return trip + error * full_range


@formula(
    title="Lowest true current at which a limit may act", symbol="I_lo", unit="A",
    text="I_lo = max(I_t − ΔI, 0)",
    inputs={"trip": "I_t [A] setting", "deviation": "ΔI [A] of the sensor"},
    basis="definition", safe_side="low: the trip that comes too soon")
def acts_from(trip: Any, deviation: Any) -> Any:
    """Setting less what the sensor may show too much.

    Examples:
        >>> float(acts_from(400.0, 25.0))
        375.0
    """
    return np.maximum(trip - deviation, 0.0)


@formula(
    title="Highest true current that a limit may let pass", symbol="I_hi", unit="A",
    text="I_hi = I_t + ΔI",
    inputs={"trip": "I_t [A] setting", "deviation": "ΔI [A] of the sensor"},
    basis="definition", safe_side="high: the trip that comes too late")
def acts_by(trip: Any, deviation: Any) -> Any:
    """Setting plus what the sensor may show too little.

    Examples:
        >>> acts_by(400.0, 25.0)
        425.0
    """
    return trip + deviation


@formula(
    title="Setting rounded up", symbol="I_s", unit="A", text="I_s = (⌊I/d⌋ + 1)·d",
    inputs={"current": "I [A] that the setting must lie above", "step": "d [A] of the last digit"},
    basis="definition", valid="d above 0",
    safe_side="high: as printed it still leaves the load alone")
def rounded_up(current: Any, step: Any) -> Any:
    """A setting as it is printed: the next figure above a current.

    Examples:
        >>> round(float(rounded_up(199.43, 0.1)), 6), round(float(rounded_up(199.5, 0.1)), 6)
        (199.5, 199.6)
    """
    return (np.floor(current / step + 1e-9) + 1.0) * step


@formula(
    title="Setting rounded down", symbol="I_s", unit="A", text="I_s = ⌊I/d⌋·d",
    inputs={"current": "I [A] that the setting must not exceed", "step": "d [A] of the last digit"},
    basis="definition", valid="d above 0", safe_side="low: as printed it still holds")
def rounded_down(current: Any, step: Any) -> Any:
    """A setting as it is printed: never above a current.

    Examples:
        >>> round(float(rounded_down(199.48, 0.1)), 6), float(rounded_down(0.0, 0.001))
        (199.4, 0.0)
    """
    return np.floor(current / step + 1e-9) * step


@formula(
    title="Delay that outlasts a peak", symbol="t_d", unit="s", text="t_d = t_p + Δt",
    inputs={"time": "t_p [s] length of the peak", "more": "Δt [s] by which it is longer"},
    basis="definition")
def outlasting(time: Any, more: Any) -> Any:
    """Least delay of a slow trip that lets a peak pass.

    Examples:
        >>> outlasting(15.0, 1.0)
        16.0
    """
    return time + more


@formula(
    title="Channels of whole monitors", symbol="n_c", unit="", text="n_c = n_m·n_ch",
    inputs={"monitors": "n_m [] monitors, none shared by what may part",
            "channels": "n_ch [] cell channels of one"},
    basis="definition", safe_side="high: a channel left over in one monitor serves no other module")
def channels_of(monitors: Any, channels: Any) -> Any:
    """Channels bought with so many monitors, used or not.

    Examples:
        >>> channels_of(16, 8)
        128
    """
    return monitors * channels


# --- monitors along a string ---------------------------------------------------------------

@value_object
class Monitor:
    """One monitor along one string: cells counted from 1 at the negative end.

    Attributes:
        first, last: cells; `last` below `first` where it holds none.
        over: modules after which its channels reach over the joint, or end at one of its own.
        spans: what lies there, in words.
        joints: how many of its channels measure such a joint.
    """

    first: int
    last: int
    over: tuple[int, ...] = ()
    spans: tuple[str, ...] = ()
    joints: int = 0

    @property
    def shown(self) -> str:
        """Its cells in words."""
        return f"cells {self.first} to {self.last}" if self.last >= self.first else "no cell"


def monitors_needed(module_cells: tuple[int, ...], channels: int, order: str) -> int:
    """Monitors along one string, each joint counted as a channel where links are measured.

    Args:
        module_cells, channels, order: as of `divide`.

    Examples:
        >>> [monitors_needed((6,) * 16, 8, order) for order in (RESTARTS, RUNS_ON, LINKS_MEASURED)]
        [16, 12, 14]
    """
    return len(divide(module_cells, channels, order, {}))


def divide(module_cells: tuple[int, ...], channels: int, order: str,
           between: dict[int, str]) -> tuple[Monitor, ...]:
    """Monitors along one string.

    Where links are measured every joint has a channel of its own, that of a fuse or disconnect
    too: a monitor then lies across each of them, wherever it begins.

    Args:
        module_cells: cells in series of each module, from the negative end.
        channels: of one monitor; 0 where not known.
        order: how monitors follow the modules.
        between: module number to what lies after it: "link", "fuse", "disconnect", or the last
            two joined by "and".

    Returns:
        Monitors, each with what lies between its cells.

    Examples:
        >>> [(m.first, m.last, m.spans) for m in divide((6, 6), 8, "runs on across links",
        ...                                             {1: "disconnect"})]
        [(1, 8, ('disconnect after module 1',)), (9, 12, ())]
        >>> [(m.first, m.last, m.over, m.joints) for m in divide((6, 6), 6, LINKS_MEASURED, {})]
        [(1, 6, (), 0), (7, 11, (1,), 1), (12, 12, (), 0)]
    """
    if channels < 1:
        return ()
    runs = _channels_in_order(module_cells, order)
    ends = np.cumsum(module_cells).tolist()
    return tuple(_monitor(run[i:i + channels], ends, between)
                 for run in runs for i in range(0, len(run), channels))


def _channels_in_order(module_cells: tuple[int, ...], order: str) -> list[list[tuple[int, bool]]]:
    """Channels of monitors that follow each other: cells done below, and whether it is a joint."""
    ends = np.cumsum(module_cells).tolist()
    each = [[(cell, False) for cell in range(end - cells, end)]
            for end, cells in zip(ends, module_cells, strict=True)]
    if order == RESTARTS:
        return each
    if order == LINKS_MEASURED:
        each = [*([*run, (end, True)] for run, end in zip(each[:-1], ends[:-1], strict=True)),
                each[-1]]
    return [[channel for run in each for channel in run]]


def _monitor(taken: list[tuple[int, bool]], ends: list[int], between: dict[int, str]) -> Monitor:
    below = taken[0][0]
    cells = sum(not joint for _, joint in taken)
    measured = {at for at, joint in taken if joint}
    over = tuple(number for number, end in enumerate(ends, start=1)
                 if end in measured or below < end < below + cells)
    return Monitor(below + 1, below + cells, over, tuple(
        f"{between[number]} after module {number}" for number in over if number in between),
        len(measured))

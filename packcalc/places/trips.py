"""What the fault places ask of the trips of the main path: one pole alone, the cells' voltage."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from packcalc import electrical as el
from packcalc.feeds import Feeds
from packcalc.findings import OR_MORE, Finding, largest, trace
from packcalc.layout_findings import count
from packcalc.monitoring import fault_cell_voltage
from packcalc.protect.branch_figures import only_at_most, told_with_bound
from packcalc.protect.places import CONTACTOR, Device, FaultPlace, Loop

# Main fuse and contactors that open on the pack's trips, from pole to pole or one of them alone.
# A mid-pack fuse, those of a string and its own trip are asked on sheets of their own.
MAIN_PATH = {"main_fuse", "contactors", "bus_contactors", "pole_contactor", "wire_contactor"}

_ON_CELLS = ("contactors", "pole_cell_trip", "wire_cell_trip")  # opened by the cells' trip too


def main_path_loops(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """The loops of a known lowest current that the main fuse or the contactors must open.

    Of whatever pole: a chafed cable or wire of the pole without a fuse leaves it to the contactor
    of that pole alone. Where a branch's own fuse stands in the loop, that one is asked for it.
    """
    return tuple(loop for loop in _left_to_the_path(loops) if loop.lowest.known)


def open_path_loops(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """Those whose lowest current is not known, or only at most: no figure says what they ask."""
    return open_loops(_left_to_the_path(loops))


def open_loops(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """Of any loops the same, those without a current first."""
    return tuple(sorted((loop for loop in loops
                         if not loop.lowest.known or only_at_most(loop.lowest)),
                        key=lambda loop: loop.lowest.known))


def open_words(loops: Sequence[Loop]) -> str:
    """The first of open loops with what is not known of it; empty for none."""
    if not loops:
        return ""
    first, more = loops[0], len({loop.title for loop in loops}) - 1
    told = told_with_bound(first.lowest) if first.lowest.known else first.lowest.note
    others = f"; {more} place{'s' if more > 1 else ''} more" if more else ""
    return f"place '{first.title}' {told}{others}"


def aside_loops(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """Loops of the same devices for which nothing is sized: a leak inside a module gives less."""
    return tuple(_left_to_the_path(loops, sizes=False))


def _left_to_the_path(loops: Iterable[Loop], sizes: bool = True) -> Iterator[Loop]:
    for loop in loops:
        keys = {d.key for d in loop.devices}
        if loop.sizes is sizes and MAIN_PATH & keys \
                and not any(k.startswith("branch_fuse") for k in keys):
            yield loop


def main_fuse_loops(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """Those of them that the main fuse must open.

    A chafed wire in the pole of a branch that has no fuse is one of them, where the main fuse
    stands in both poles.
    """
    return tuple(loop for loop in main_path_loops(loops)
                 if "main_fuse" in {d.key for d in loop.devices})


def one_pole_loops(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """Those of them that the contactor of one pole alone can open."""
    return tuple(loop for loop in main_fuse_loops(loops)
                 if {"pole_contactor", "wire_contactor"} & {d.key for d in loop.devices})


def lowest_in_one_pole(loops: Iterable[Loop], lowest: Finding) -> bool:
    """Whether the least of the loops of the main path passes one pole's contactor alone.

    Args:
        loops: every fault place.
        lowest: at the far end of the traction cables.
    """
    least = min(main_path_loops(loops), key=lambda loop: loop.lowest.number, default=None)
    return least is not None and lowest.known and least.lowest.number < lowest.number \
        and bool({"pole_contactor", "wire_contactor"} & {d.key for d in least.devices})


def fuse_alone_loops(loops: Iterable[Loop]) -> tuple[Loop, ...]:
    """Those of them in which no contactor stands, and covers are not the usual answer."""
    return tuple(loop for loop in main_fuse_loops(loops)
                 if not loop.inherent and all(d.kind != CONTACTOR for d in loop.devices))


def path_highest(highest: Finding, loops: Iterable[Loop]) -> Finding:
    """Largest current of the modules in any loop that the main path must open.

    Of unlike modules a strong one alone, through the chassis, may give more than all in a row.
    """
    most = max((loop.highest for loop in _left_to_the_path(loops) if loop.highest.known),
               key=lambda f: f.number, default=highest)
    more = highest.known and most.number > highest.number * (1 + 1e-9)  # rounding apart
    return most if more else highest


def opened_all_the_same(places: Iterable[FaultPlace], below: float) -> str:
    """Who opens the faults that no fixed current tells from load, in words; "" where not shown.

    Each place of the main path that can give less than that current must be shown from end to end:
    up to what the warmest and newest pack drives there, by the cells' voltage or by a fuse. One
    without a contactor, where covers are the usual answer, is no trip's and is left out. One of
    an unknown lowest current may give less, and is not shown.

    Args:
        places: every fault place with who ends it.
        below: the current from which a fixed trip is sure to see a fault, in A.
    """
    found = tuple(places)
    keys = {loop.key for loop in _left_to_the_path(p.loop for p in found)
            if not loop.lowest.known or only_at_most(loop.lowest) or loop.lowest.number < below
            and (not loop.inherent or any(d.kind == CONTACTOR for d in loop.devices))}
    small = [p for p in found if p.key in keys]
    if not small or not all(p.shown for p in small):
        return ""
    least = min(small, key=lambda p: p.lowest.number)
    many = f" and at {len(small) - 1} more" if len(small) > 1 else ""
    return (f"they are opened all the same, shown from end to end: at the place '{least.title}'"
            f"{many}, there {least.lowest.shown} by {least.at_lowest.device} "
            f"({least.at_lowest.why})")


def one_pole_drop(loops: Iterable[Loop]) -> Finding | None:
    """Most that a cell keeps for each ampere of a loop through one pole; None where not known."""
    return max((d.drop for d in _one_pole_trips(loops) if d.drop is not None),
               key=lambda drop: drop.number, default=None)


def one_pole_falls(loops: Iterable[Loop]) -> Finding | None:
    """Current from which the cells of such a loop fall below their trip; None where not known."""
    return _highest(d.falls for d in _one_pole_trips(loops))


def whole_falls(loops: Iterable[Loop]) -> Finding | None:
    """The same of a fault from pole to pole."""
    return _highest(d.falls for loop in main_path_loops(loops) for d in loop.devices
                    if d.key == "contactors")


def _one_pole_trips(loops: Iterable[Loop]) -> tuple[Device, ...]:
    return tuple(d for loop in one_pole_loops(loops) for d in loop.devices
                 if d.key in ("pole_cell_trip", "wire_cell_trip"))


def _highest(borders: Iterable[Finding | None]) -> Finding | None:
    """One that is not known leaves all of them open: it may lie above every other."""
    found = tuple(borders)
    if not found or any(one is None for one in found):
        return None
    return max((one for one in found if one is not None), key=lambda one: one.number)


def left_on_cells(current: Finding, drop: Finding, title: str = "") -> Finding:
    """What a fault leaves on its own cells.

    Args:
        current: of the loop.
        drop: resistance outside the modules of that loop for each of its cells, see
            `places.drop_each`.
        title: as printed.
    """
    external, cells = drop.inputs
    return trace(fault_cell_voltage, title, current=current, external=external, cells=cells)


def fault_cell(feeds: Feeds, loops: Sequence[Loop]) -> Finding:
    """What the cells that feed a lowest fault still show: the drop outside the modules.

    A second chassis fault draws on a few modules alone, whose cells fall; the others keep theirs.
    Where a place's own current or conductors are not known its cells may keep more.
    """
    brief, pack = feeds.brief, feeds.pack
    parts = [(p.series, brief.modules[p.entry].module.series) for p in pack.layout.parts]
    whole = trace(fault_cell_voltage, "voltage left on a cell, the whole pack shorted",
                  current=feeds.faults.lowest,
                  external=trace(el.resistance_sum, "path and cables outside the modules",
                                 unit="mΩ", first=pack.path, second=pack.cables_long),
                  cells=count("cells in series", "n", sum(s * c for s, c in parts)))
    alone = [left_on_cells(loop.lowest, device.drop,
                           f"voltage left on a cell, one module shorted {how}")
             for key, how in (("pole_cell_trip", "by a second chassis fault"),
                              ("wire_cell_trip", "through a branch's wire"))
             for loop in main_path_loops(loops) for device in loop.devices
             if device.key == key and device.drop is not None]
    title = "voltage left on the cells that feed the lowest fault"
    open_ = open_words([loop for loop in open_path_loops(loops)
                        if any(d.key in _ON_CELLS for d in loop.devices)])
    open_ = f"{OR_MORE}{open_}" if open_ else ""
    if not alone:
        return whole.called(title, note=f"{whole.note}{open_}")
    rest = trace(el.series_voltage, "voltage of the modules outside the fault",
                 series=count("modules outside the fault", "n", pack.layout.series - 1),
                 module_voltage=feeds.module.voltage_empty)
    return largest([whole, *alone], title).called(title, note=(
        "every cell is read by itself: with one module in the fault a trip on the whole pack's "
        f"voltage does not see it, the others hold that above {rest.shown}{open_}"))

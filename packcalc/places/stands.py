"""Where main fuses, a mid-pack fuse and contactors stand in a layout, by the brief's words."""

from __future__ import annotations

from packcalc.brief import Brief
from packcalc.parts import DISCONNECT

MID_KEY = "midpack_fuse"
PERHAPS = " (if one stands there)"
MID_PERHAPS = f"mid-pack fuse{PERHAPS}"
INSIDE_KEY, INSIDE = "disconnect_fuse", "fuse inside the service disconnect"
BETWEEN_MODULES = (MID_KEY, INSIDE_KEY)
NOT_NAMED = ", not named"  # of a device of which the brief names no part: nobody counts on it


def contactor_words(strings: bool) -> str:
    """The contactors that the pack's trips open: in parallel strings those of each string."""
    return "string contactors" if strings else "main contactors"


def fuse_stands(brief: Brief, series: int) -> str:
    """Where main fuses stand: the brief's word, and a mid-pack fuse stated elsewhere."""
    stands = brief.path.main_fuse
    after = brief.pack.fuse_after
    inside = after.known and 0 < after.number < series
    return f"{stands} and mid-pack" if inside and "mid-pack" not in stands else stands


def mid_fuse_open(brief: Brief, series: int) -> bool:
    """Whether one may sit inside the string: nobody said, and no other entry puts one there."""
    return series > 1 and not brief.pack.fuse_after.known \
        and "mid-pack" not in fuse_stands(brief, series)


def fuse_in_disconnect(brief: Brief, series: int) -> str:
    """Name of a fuse in the named disconnect that the brief counts on nowhere; empty for none.

    The parts list puts it into the loop, whatever the brief says, and no sheet tells what it does.
    One of which list or brief leave open whether it stands there may.
    """
    use, at, counted = brief.parts, brief.pack.disconnect_after, brief.pack.fuse_after
    # One that nobody named may hold a fuse as well; so may one of which nobody said where, or
    # whether, it stands.
    inside = use.list.part(DISCONNECT, use.disconnect).fuse_inside if use.disconnect else ""
    nowhere = series < 2 or at.known and not 0 < at.number < series
    own = at.known and counted.known and at.number == counted.number
    if inside == "no" or nowhere or own:
        return ""
    # A main fuse between the modules of which nobody said where may be that very one.
    apart = counted.known or "mid-pack" not in brief.path.main_fuse
    return INSIDE if inside and at.known and apart else f"{INSIDE}{PERHAPS}"


def run_on_one_side(brief: Brief, series: int) -> int:
    """Most modules between two faults on one side of the mid-pack fuse; all without a fuse."""
    return max(_sides(brief, series), default=series)


def run_up_to_fuse(brief: Brief, series: int) -> int:
    """Fewest modules between either pole and the mid-pack fuse; one where its place is open."""
    return min(_sides(brief, series), default=1)


def _sides(brief: Brief, series: int) -> tuple[int, ...]:
    """Modules on either side of the mid-pack fuse; empty without one whose place is known."""
    after = brief.pack.fuse_after
    if "mid-pack" not in fuse_stands(brief, series) or not after.known \
            or not 0 < after.number < series:
        return ()
    return int(after.number), series - int(after.number)


def largest_section(brief: Brief, series: int) -> int:
    """Most modules in series between two mid-pack breaks, a disconnect or a fuse."""
    places = (brief.pack.disconnect_after, brief.pack.fuse_after)
    cuts = sorted({0, series} | {int(p.number) for p in places
                                 if p.known and 0 < p.number < series})
    return max(b - a for a, b in zip(cuts, cuts[1:]))

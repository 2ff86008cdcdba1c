"""What stands inside the string of modules, what parts it, and every joint of a build."""

from __future__ import annotations

from typing import Any

from packcalc.brief_keys import CHARGE_CONTACTOR_CHOICES, MONITOR_CHOICES
from packcalc.electrical import resistance_sum
from packcalc.feeds import on_the_bus
from packcalc.findings import Finding, Origin, formula, leaf, trace
from packcalc.handover.bands import rule
from packcalc.pack import PackModel
from packcalc.parts import DISCONNECT
from packcalc.places.branches import UNDESCRIBED
from packcalc.protect.branch_figures import PRECHARGE, SENSE
from packcalc.protect.insulation import LARGER_SECTION, or_more
from packcalc.protection import ProtectionStudy
from packcalc.value import value_object

FUSE, SWITCH = "fuse", "disconnect"
LINK, ACROSS, INSIDE = "link", "across", "inside"
FUSE_INSIDE = "fuse inside the string"
MID_PACK, BOTH = "mid-pack", "both poles"
# The brief asks for one link as measured: no maker's or reviewer's largest.
TYPICAL_LINK = ("the limit of a link is path.link_resistance of the brief, a typical link and not "
                "the largest permitted: ask its maker and the reviewer for the largest, and size "
                "with that")
MONITOR = "monitor"
NOT_A_LOAD = (SENSE, MONITOR, PRECHARGE)


@formula(
    title="Resistance of a fuse that shares the figure of the loop", symbol="R_f", unit="mΩ",
    text="R_f = R_fu/n",
    inputs={"fuses": "R_fu [mΩ] of every fuse in the loop", "count": "n [] like fuses in it"},
    basis="definition",
    safe_side="low where the fuses are unlike: its own sheet counts, and then goes first")
def share_of_fuses(fuses: Any, count: Any) -> Any:
    """One of several fuses in a row.

    Examples:
        >>> share_of_fuses(0.5e-3, 2)
        0.00025
    """
    return fuses / count


@formula(
    title="Resistance across a place inside the string", symbol="R_in", unit="mΩ",
    text="R_in = R_p + n·R_ln",
    inputs={"parts": "R_p [mΩ] of fuse and disconnect there",
            "leads": "n [] leads beside and between them",
            "link": "R_ln [mΩ] of a link with its joints"},
    basis="definition", safe_side="low: a cable between two boxes comes on top")
def across_place(parts: Any, leads: Any, link: Any) -> Any:
    """From the plus terminal of one module to the minus terminal of the next.

    Examples:
        >>> round(across_place(0.35e-3, 3, 0.08e-3) * 1e3, 3)
        0.59
    """
    return parts + leads * link


@formula(
    title="Least resistance across a place inside the string", symbol="R_lo", unit="mΩ",
    text="R_lo = R_p·x/100",
    inputs={"parts": "R_p [mΩ] of fuse and disconnect there", "share": "x [%] of it"},
    basis="definition", safe_side="high enough to tell a link from a fuse")
def least_across(parts: Any, share: Any) -> Any:
    """Below it a plain link stands there, or the meter was bridged.

    Examples:
        >>> round(least_across(0.35e-3, 0.5) * 1e3, 4)
        0.175
    """
    return parts * share


LEAST_SHARE = rule("share of the parts' resistance below which a reading is doubted", "x", "%", 0.5,
                   "our rule: a cold fuse reads below its figure at rated current, a link far "
                   "lower; the reviewer may replace it")


@value_object
class Part:
    """A fuse or disconnect inside the string, tagged as on the one-line diagram.

    Attributes:
        kind: FUSE or SWITCH.
        tag: "Q1"; "Q1.n" for one in each of several strings.
        name: in words.
        after: position from the negative end behind which it stands.
        count: pieces in the pack.
        note: what is not known of its place.
    """

    kind: str
    tag: str
    name: str
    after: int
    count: int
    note: str = ""

    @property
    def shown(self) -> str:
        """Tag and name, in one."""
        return f"{self.tag} ({self.name})"


@value_object
class Joint:
    """One joint of the build sheet.

    Attributes:
        id: stable.
        place: in words.
        kind: LINK (in series), ACROSS (side by side in a group), INSIDE (fuse or disconnect).
        after: position from the negative end.
        limit: of its resistance; None where a part does not say.
        least: below which something else stands there; None of a link.
        of_the_day: whether it is closed only on the day of the first energising.
    """

    id: str
    place: str
    kind: str
    after: int
    limit: Finding | None
    least: Finding | None = None
    of_the_day: bool = False

    @property
    def limit_words(self) -> str:
        """The limit as printed."""
        if self.limit is not None and self.least is not None:
            return f"{self.least.shown} to {self.limit.shown}"
        return f"at most {self.limit.shown}" if self.limit is not None else \
            "no limit: a part does not say its resistance; the reading becomes the baseline"


def most_voltage(pack: PackModel) -> str:
    """The highest working voltage in words: "or more" where its chain is not whole."""
    shown = pack.highest_voltage.shown
    return f"at most {shown} DC" if voltage_whole(pack) else \
        f"{shown} or more DC (parts of the over-voltage chain are not evaluated)"


def up_to(pack: PackModel) -> str:
    """The same in the middle of a sentence."""
    return f"{'up to ' * voltage_whole(pack)}{or_more(pack.highest_voltage)}"


def voltage_whole(pack: PackModel) -> bool:
    """Whether every source of the highest working voltage was evaluated."""
    return not pack.highest_voltage.at_least


def position_word(study: ProtectionStudy) -> str:
    """What stands at one position of a string: a module, or a group of them side by side."""
    layout = study.layout
    grouped = layout.arrangement == "grouped" and layout.parallel > 1
    return "group" if grouped else "module"


def strings_of(study: ProtectionStudy) -> int:
    """Strings side by side; 1 for a pack of groups."""
    layout = study.layout
    return layout.parallel if layout.arrangement == "strings" else 1


def charge_poles(study: ProtectionStudy) -> int:
    """Poles in which a charge contactor cuts the inlet off; 0 where there is none."""
    return CHARGE_CONTACTOR_CHOICES.index(study.brief.path.charge_contactor)


# --- fuse and disconnect ---------------------------------------------------------------------

def parts_inside(study: ProtectionStudy) -> tuple[Part, ...]:
    """Mid-pack fuse and disconnect in the order of the string."""
    brief, series = study.brief, study.layout.series
    stands, strings = brief.path.main_fuse, strings_of(study)
    dot = ".n" if strings > 1 else ""
    fuse, switch = (_place(f, series) for f in (brief.pack.fuse_after, brief.pack.disconnect_after))
    found = []
    if stands == MID_PACK:
        note = "" if fuse else "the brief does not say where; counted in the middle"
        found.append(Part(FUSE, f"F1{dot}", "main fuse", fuse or max(series // 2, 1), strings,
                          note))
    elif fuse:
        number = 3 if stands == BOTH else 2
        found.append(Part(FUSE, f"F{number}{dot}", FUSE_INSIDE, fuse, strings))
    if switch:
        found.append(Part(SWITCH, f"Q1{dot}", "service disconnect", switch, strings))
    return tuple(sorted((p for p in found if p.after < series), key=lambda p: p.after))


def _place(given: Finding, series: int) -> int:
    """A place inside the string; 0 where there is none, or none that this layout has."""
    return int(given.number) if given.known and 0 < given.number < series else 0


def disconnect_of(study: ProtectionStudy) -> Part | None:
    """The service disconnect of the circuit; None where it has none."""
    return next((p for p in parts_inside(study) if p.kind == SWITCH), None)


def disconnect_open(study: ProtectionStudy) -> bool:
    """Whether the brief leaves open if there is a disconnect."""
    return not study.brief.pack.disconnect_after.known


def may_part(study: ProtectionStudy) -> bool:
    """Whether a disconnect parts the string, or may."""
    return disconnect_of(study) is not None or disconnect_open(study)


def disconnect_out(study: ProtectionStudy) -> str:
    """The order to take the disconnect out, as the circuit has it."""
    part = disconnect_of(study)
    if part is not None:
        return f"disconnect {part.tag} out" if part.count == 1 else \
            "the disconnect of every string out"
    if disconnect_open(study):
        return "disconnect out if there is one (the brief does not say)"
    return "no disconnect inside the string: every module stays joined"


def limit_inside(study: ProtectionStudy, after: int) -> tuple[Finding | None, Finding | None]:
    """Least and most that fuse, disconnect and their leads may read; None where not known."""
    here = [p for p in parts_inside(study) if p.after == after]
    each = [_resistance(study, part) for part in here]
    known = [f for f in each if f is not None and f.known]
    link = study.brief.path.link_resistance
    if len(known) < len(each) or not known or not link.known:
        return None, None
    parts = known[0] if len(known) == 1 else trace(
        resistance_sum, "resistance of fuse and disconnect", first=known[0], second=known[1])
    leads = leaf("leads beside and between the parts", "n", "", len(here) + 1, "definition",
                 origin=Origin("circuit"), note="each counted as a link with its joints")
    return (trace(least_across, parts=parts, share=LEAST_SHARE),
            trace(across_place, parts=parts, leads=leads, link=link))


def _resistance(study: ProtectionStudy, part: Part) -> Finding | None:
    brief = study.brief
    if part.kind == SWITCH:
        names = brief.parts
        own = names.list.part(DISCONNECT, names.disconnect) if names.disconnect else None
        return getattr(own, "contact_resistance", None)
    fuses = brief.path.fuse_resistance
    main = {MID_PACK: 0, BOTH: 2}.get(brief.path.main_fuse, 1)
    if not fuses.known or not main:
        return fuses
    count = leaf("fuses in the loop", "n", "", main + 1, "definition", origin=Origin("circuit"),
                 note="main fuses, and the one inside the string: counted alike")
    return trace(share_of_fuses, "resistance of the fuse inside the string", fuses=fuses,
                 count=count)


# --- joints ----------------------------------------------------------------------------------

def joints_of(study: ProtectionStudy) -> tuple[Joint, ...]:
    """Every joint of the build in order: in the groups, in series, then fuse and disconnect."""
    return (*joints_across(study), *joints_in_series(study), *joints_inside(study))


def joints_in_series(study: ProtectionStudy) -> tuple[Joint, ...]:
    """Plain links between two positions; in a string without fuse and disconnect the last of
    them waits for the day of the first energising, see `open_places`.
    """
    link, word = study.brief.path.link_resistance, position_word(study)
    taken, left = {p.after for p in parts_inside(study)}, open_places(study)
    return tuple(
        Joint(f"build.joint_{name}{k}", f"{said}between {word} {k} and {k + 1}", LINK, k, link,
              of_the_day=k in left)
        for name, said in _each_string(study) for k in range(1, study.layout.series)
        if k not in taken)


def joints_inside(study: ProtectionStudy) -> tuple[Joint, ...]:
    """Places of fuse and disconnect: closed only on the day of the first energising."""
    word = position_word(study)
    places = tuple(dict.fromkeys(p.after for p in parts_inside(study)))
    found = []
    for name, said in _each_string(study):
        for k in places:
            least, most = limit_inside(study, k)
            tags = tags_at(study, k, name.strip("_") or "n")
            found.append(Joint(f"build.inside_{name}{k}", f"{said}{tags}, between {word} {k} and "
                               f"{k + 1}", INSIDE, k, most, least, of_the_day=True))
    return tuple(found)


def open_places(study: ProtectionStudy) -> tuple[int, ...]:
    """Positions behind which the string stays open until the day of the first energising.

    Those of fuse and disconnect; where the string has neither, the link nearest its middle that
    no monitor reaches over, so that no whole pack stands before the dead tests and sense leads
    can go in while it is open. The middle one where every link lies under a monitor.
    """
    series = study.layout.series
    inside = tuple(dict.fromkeys(p.after for p in parts_inside(study)))
    if inside or series < 2:
        return inside
    middle = 1 + (series - 1) // 2
    return (min(free_links(study) or (middle,), key=lambda k: (abs(k - middle), k)),)


def free_links(study: ProtectionStudy) -> tuple[int, ...]:
    """Positions behind which no monitor reaches from one module to the next."""
    return tuple(k for k in range(1, study.layout.series) if not monitors_over(study, k))


def monitors_over(study: ProtectionStudy, after: int) -> tuple[int, ...]:
    """Monitors, counted from the negative end, that lie across a place."""
    return tuple(n for n, m in enumerate(study.circuit.management.monitors, start=1)
                 if after in m.over)


def over_disconnect(study: ProtectionStudy) -> tuple[int, ...]:
    """Monitors whose sense wires join what the disconnect parts."""
    part = disconnect_of(study)
    return monitors_over(study, part.after) if part is not None else ()


def division_open(study: ProtectionStudy) -> bool:
    """Whether it is not known which cells each monitor holds."""
    return not study.circuit.management.monitors or \
        study.brief.left_open("management.monitor_order")


def joints_across(study: ProtectionStudy) -> tuple[Joint, ...]:
    """Links side by side that make modules one group: at the plus and at the minus terminals."""
    layout = study.layout
    if position_word(study) != "group":
        return ()
    link = study.brief.path.link_resistance
    return tuple(
        Joint(f"build.group_{k}_{p}_{pole}", f"group {k}, {pole} terminals of place {p} and "
              f"{p + 1}", ACROSS, k, link)
        for k in range(1, layout.series + 1) for p in range(1, layout.parallel)
        for pole in ("minus", "plus"))


def tags_at(study: ProtectionStudy, after: int, string: str = "n") -> str:
    """Tags of what stands behind one position, e.g. "F2 and Q1"."""
    return " and ".join(p.tag.replace(".n", f".{string}") for p in parts_inside(study)
                        if p.after == after)


def _each_string(study: ProtectionStudy) -> tuple[tuple[str, str], ...]:
    """Part of an id and of a place for each string; one blank pair for a pack of groups."""
    if study.layout.arrangement != "strings":
        return (("", ""),)
    return tuple((f"{n}_", f"string {n}, ") for n in range(1, study.layout.parallel + 1))


def taps_ahead(study: ProtectionStudy) -> tuple[str, ...]:
    """Loads that leave ahead of the contactors: live as soon as the string is whole.

    Strings join behind their own contactors: no load leaves ahead of these.
    """
    behind = on_the_bus(study.brief, study.layout.in_strings)
    return tuple(b.name for b in study.brief.branch
                 if b not in behind and b.kind not in NOT_A_LOAD)


def live_ahead(study: ProtectionStudy) -> tuple[str, ...]:
    """All that the disconnect parts and the contactors do not: these loads, and monitor wires.

    No entry says whether thin wires leave the box, so they count as leaving it. A monitor whose
    wires the brief does not describe counts as joined ahead.
    """
    brief = study.brief
    behind = on_the_bus(brief, study.layout.in_strings)
    told = [b for b in brief.branch if b.kind == MONITOR]
    untold = not told and brief.path.insulation_monitor != MONITOR_CHOICES[0]
    return (*taps_ahead(study), *(b.name for b in told if b not in behind),
            *((dict(UNDESCRIBED)[MONITOR],) if untold else ()))


def sense_wires(study: ProtectionStudy) -> tuple[str, ...]:
    """What no disconnect parts from its cells; every pack has them, described or not."""
    return tuple(b.name for b in study.brief.branch if b.kind == SENSE) or \
        (dict(UNDESCRIBED)[SENSE],)


def across_taps(study: ProtectionStudy) -> str:
    """What sense wires still have between them, with the disconnect out where there is one."""
    larger = next((f for f in study.circuit.insulation.item.duty if f.title == LARGER_SECTION),
                  None)
    if larger is None or over_disconnect(study):
        return up_to(study.pack)
    if division_open(study):
        return f"{up_to(study.pack)} (which cells each monitor holds is not known)"
    return f"up to {larger.shown} in each part"

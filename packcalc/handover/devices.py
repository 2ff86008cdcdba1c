"""Every device of the circuit that has a serial number of its own, tagged as on the diagram."""

from __future__ import annotations

from collections.abc import Callable

from packcalc.brief import Branch
from packcalc.handover.inside import (
    BOTH, FUSE_INSIDE, MID_PACK, SWITCH, charge_poles, parts_inside, strings_of,
)
from packcalc.protect.branch_figures import PRECHARGE, SENSE
from packcalc.protection import ProtectionStudy
from packcalc.value import value_object

INSIDE_FUSE, CHARGE_CONTACTOR = "inside_fuse", "charge_contactor"
PLUS, MINUS = ("plus", "+ pole"), ("minus", "− pole")
RELAY, RESISTOR = "relay", "resistor"
Tag = Callable[[str], str]


@value_object
class Device:
    """One piece.

    Attributes:
        suffix: of its id; "" where it is the only one of its line.
        tag: as on the one-line diagram.
        where: in words.
    """

    suffix: str
    tag: str
    where: str


def devices_of(study: ProtectionStudy) -> dict[str, tuple[Device, ...]]:
    """Devices by the line of the as-built record that they stand on.

    Tags are given out in the order of the one-line diagram; a test holds both together.
    """
    last: dict[str, int] = {}

    def tag(letter: str) -> str:
        last[letter] = last.get(letter, 0) + 1
        return f"{letter}{last[letter]}"

    brief, strings = study.brief, strings_of(study)
    found = {"main_fuse": _main_fuses(brief.path.main_fuse, tag)}
    found |= _inside(study, strings, tag)
    found |= _string_devices(strings, tag) if study.layout.in_strings else {
        "contactors": tuple(Device(pole, tag("K"), where) for pole, where in (PLUS, MINUS))}
    found["precharge"] = (Device(RELAY, tag("K"), ""), Device(RESISTOR, tag("R"), ""))
    order = sorted(brief.branch, key=lambda b: (b.kind != PRECHARGE, b.kind != SENSE))
    inlet = next((b for kind in ("fast-charge inlet", "charger") for b in brief.branch
                  if b.kind == kind), None)
    for branch in order:
        found[f"branch.{branch.name}"] = _branch(branch, tag)
        if branch is inlet:
            found[CHARGE_CONTACTOR] = _charge_contactors(study, tag)
    if inlet is None:
        found[CHARGE_CONTACTOR] = _charge_contactors(study, tag)
    return found


def _main_fuses(stands: str, tag: Tag) -> tuple[Device, ...]:
    if stands == BOTH:
        return tuple(Device(pole, tag("F"), where) for pole, where in (PLUS, MINUS))
    return (Device("", tag("F"), "inside the string" if stands == MID_PACK else PLUS[1]),)


def _inside(study: ProtectionStudy, strings: int, tag: Tag) -> dict[str, tuple[Device, ...]]:
    """Mid-pack fuse and disconnect: one, or one in each string."""
    found = {}
    for part in parts_inside(study):
        own = part.name == FUSE_INSIDE
        key = INSIDE_FUSE if own else SWITCH if part.kind == SWITCH else "main_fuse"
        base = part.tag.partition(".")[0]
        if own:
            tag("F")
        where = f"after module {part.after} from the negative end"
        found[key] = (Device("", base, where),) if strings == 1 else tuple(
            Device(str(n), f"{base}.{n}", f"string {n}, {where}") for n in range(1, strings + 1))
    return found


def _string_devices(strings: int, tag: Tag) -> dict[str, tuple[Device, ...]]:
    plus, minus, fuse = tag("K"), tag("K"), tag("F")
    every = range(1, strings + 1)
    return {"string_fuse": tuple(Device(str(n), f"{fuse}.{n}", f"string {n}") for n in every),
            "string_contactors": tuple(
                Device(f"{n}.{pole}", f"{base}.{n}", f"string {n}, {where.split()[0]} end")
                for n in every for base, (pole, where) in ((plus, PLUS), (minus, MINUS)))}


def _branch(branch: Branch, tag: Tag) -> tuple[Device, ...]:
    """The fuses of a branch; sense wires have one in each wire, all on one line."""
    if not (branch.fuse_rating.known or branch.fuse_part):
        return ()
    both = branch.fused_poles == "both" and branch.kind != SENSE
    if not both:
        where = "one in each wire, at the cell end" if branch.kind == SENSE else PLUS[1]
        return (Device("", tag("F"), where),)
    ends = (("tap", "at the tap"), ("bus", "at the bus end")) if branch.kind == PRECHARGE \
        else (PLUS, MINUS)
    return tuple(Device(end, tag("F"), where) for end, where in ends)


def _charge_contactors(study: ProtectionStudy, tag: Tag) -> tuple[Device, ...]:
    poles = (PLUS, MINUS)[:charge_poles(study)]
    return tuple(Device(pole if len(poles) > 1 else "", tag("K"), where) for pole, where in poles)

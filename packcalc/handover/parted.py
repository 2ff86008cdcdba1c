"""How the pack stands between build sheet and first closing: in parts, its poles not joined.

One place of each string stays open until its day: where fuse or disconnect stand, or, in a
circuit without either, the last link of the build sheet. Every sense lead is in before that.
"""

from __future__ import annotations

from packcalc.bench.sections import Chain, Run
from packcalc.electrical import series_voltage
from packcalc.findings import Finding, Origin, largest, leaf, trace
from packcalc.handover.figures import BORDER, Figures
from packcalc.handover.inside import (
    Joint,
    disconnect_of,
    disconnect_out,
    division_open,
    joints_inside,
    joints_of,
    may_part,
    monitors_over,
    open_places,
    position_word,
    strings_of,
    tags_at,
)
from packcalc.protection import ProtectionStudy

DIVISION_OPEN = ("how the monitors divide the cells is not known: their maker's plan first, for "
                 "one may reach over the open place")


def open_after(study: ProtectionStudy) -> tuple[int, ...]:
    """Positions behind which each string stays open, in order from the negative end."""
    return tuple(sorted(open_places(study)))


def joints_of_the_day(study: ProtectionStudy) -> tuple[Joint, ...]:
    """What is closed only on the day of the first energising, in each string."""
    return tuple(j for j in joints_of(study) if j.of_the_day)


def place_words(study: ProtectionStudy) -> str:
    """The open places in words: "F2 and Q1, between module 8 and 9"."""
    word, found = position_word(study), []
    for k in open_after(study):
        what = tags_at(study, k) or "the last link"
        found.append(f"{what}, between {word} {k} and {k + 1}")
    each = " in each string" if strings_of(study) > 1 else ""
    numbered = " (n: its number)" if any(".n" in words for words in found) else ""
    return f"{'; '.join(found)}{each}{numbered}"


def closing_words(study: ProtectionStudy) -> tuple[str, ...]:
    """How each open place is closed, in order; the last of them makes the string whole."""
    part, places = disconnect_of(study), open_after(study)
    if not joints_inside(study):
        return (f"{place_words(study)}, torque and mark",)
    words = [f"{tags_at(study, k)}, torque and mark" for k in places
             if part is None or k != part.after]
    if part is not None:
        beside = tags_at(study, part.after).replace(part.tag, "").replace(" and ", "")
        fixed = f"{beside} and " if beside else ""
        words.append(f"{fixed}the fixed part of {part.tag}, torque and mark; the plug of "
                     f"{part.tag} last")
    return tuple(words)


def runs_of(study: ProtectionStudy) -> tuple[Run, ...]:
    """Parts of one string that are joined in themselves."""
    return Chain(study.layout.series, frozenset(open_after(study))).runs()


def part_voltage(figures: Figures, run: Run) -> Finding:
    """One part with every module full."""
    count = leaf(f"{position_word(figures.study)}s in the part", "n", "", run.steps, "definition",
                 origin=Origin("build sheet"))
    return trace(series_voltage, f"part {run} of the string, every module full", series=count,
                 module_voltage=figures.module_voltage)


def inside_words(figures: Figures) -> str:
    """What is live inside the box as the build sheet leaves it."""
    study = figures.study
    runs, word = runs_of(study), position_word(study)
    names = " and ".join(f"{word}{'s' if run.steps > 1 else ''} {run}" for run in runs)
    most = _highest_part(figures)
    many = f"in each of {strings_of(study)} strings " if strings_of(study) > 1 else ""
    each = " each" if len(runs) > 1 else ""
    return (f"inside the box {many}{names}, up to {most.shown}{each}, whatever is open, and sense "
            "wires on their taps, in the box or out of it")


def _highest_part(figures: Figures) -> Finding:
    return largest([part_voltage(figures, run) for run in runs_of(figures.study)],
                   "highest part of the string")


def ends_words(figures: Figures) -> str:
    """What the two ends of a part are against each other, by the part that is highest."""
    if _highest_part(figures).number <= BORDER.number:
        return "each part stays at or below 60 V; shorted it still burns, arcs and welds"
    return "each end of a part is lethal against the other"


def contactor_words(study: ProtectionStudy, pole: str) -> str:
    """The contactor of one pole: of a string where there is no pair common to all."""
    return f"{'string' if study.layout.in_strings else 'main'} {pole}"


def spanning(study: ProtectionStudy) -> tuple[int, ...]:
    """Monitors, counted from the negative end, whose cells lie on both sides of an open place."""
    return tuple(sorted({n for k in open_after(study) for n in monitors_over(study, k)}))


def leads_before(study: ProtectionStudy) -> str:
    """Sense leads that come out before the string is parted, in words; "" where none must.

    A lead that is left in across a place that is opened carries the string's current.
    """
    over = spanning(study)
    if open_after(study) and division_open(study):
        return "sense leads that reach over the place out first"
    if over:
        many = "s" if len(over) > 1 else ""
        names = " and ".join(map(str, over))
        return (f"sense leads of monitor{many} {names}, which reach{'' if many else 'es'} over "
                "the place, out first")
    return ""


def taken_out(study: ProtectionStudy) -> str:
    """What parts the string, in order: sense leads over the place, then the disconnect."""
    leads = leads_before(study) if may_part(study) else ""
    return "; ".join(filter(None, (leads, disconnect_out(study))))


def links_of_the_sheet(study: ProtectionStudy) -> tuple[Joint, ...]:
    """Every link that is fitted before the day: in the groups, then in series."""
    return tuple(j for j in joints_of(study) if not j.of_the_day)

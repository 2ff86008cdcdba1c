"""Strings side by side: what is asked of them before, while and after they are first joined."""

from __future__ import annotations

from packcalc.findings import Finding
from packcalc.handover.expected import STOP, Expected, Stage, yes
from packcalc.handover.figures import Figures
from packcalc.handover.inside import strings_of, up_to
from packcalc.protect.strings import (
    HIDDEN_MOST, HIDES, NOT_CHARGED, StringsAsked, joining_barred, joining_reading, string_duty,
)
from packcalc.protection import ProtectionStudy
from packcalc.side_circuits import strings_asked

JOIN = "The strings onto one bus"
LIMIT = "charge limit of the receiving string"
SETTLED = "time until 5 % of the joining current is left"
HIDDEN = "charge gap that a voltage reading cannot show"
REMEDIES = {
    NOT_CHARGED: "contactors that close on cells alone that may be charged, in the brief under "
                 "battery.coldest_closed and battery.hottest, held by the management system",
    HIDES: "finer readings, in the brief under strings.voltage_error"}


def join(figures: Figures) -> Stage:
    """Each further string closed onto the bus that the first one holds; only of several strings."""
    study, allowed = figures.study, difference(figures)
    stops = () if allowed is not None else (
        f"{STOP}: {_no_difference(figures)}. The strings are not joined.",)
    return Stage(
        "join", JOIN,
        f"everything, {up_to(figures.pack)}: the bus by one string, inside the box each string, "
        "whatever is open",
        (*stops, "Every contactor proven open by the stage before. Nothing draws or charges: "
         "inverter without torque, charger and every load told to be off.",
         _first_the_charge(study), *(_steps(study, allowed) if allowed is not None else ())),
        (*(() if _tells(study) else (yes(
            "join.charged_full", "every string charged full on its own, then rested an hour or "
            "more", "their charge is not known, and no voltage tells it: charge each first"),)),
         Expected(
            "join.strings_differ", "largest difference between two strings before they are joined",
            "voltage", "V", high=allowed, how="one meter, one after the other, at rest",
            above="never joined: bring both to one charge first; the fuller one drives its current "
                  "into the other the moment they touch", guards=True,
            lacking="the difference at which strings may be joined is not known: do not join them"),
         Expected(
            "join.across_open", "across the open plus contactor just before it closes, its minus "
            "closed, the largest of all strings", "voltage", "V", high=allowed,
            how="meter rated for the whole pack",
            above="not closed: the strings do not stand as they were read", guards=True,
            lacking="the difference at which strings may be joined is not known: do not join them"),
         Expected(
            "join.current", "first current of a string as it joins, the largest", "current", "A",
            high=_first_of(study, LIMIT), how="log or clamp, peak held", guards=True,
            above="open: more than the receiving string may be charged with",
            lacking="the charge limit of the receiving string is not known"),
         yes("join.settled", "the current between the strings died away by itself",
             "open: one string goes on charging the other; compare their cells"),
         yes("join.open_again", "after the stop every contactor of every string is proven open "
             "again", "welded as it joined: replace it, do not reset",
             how="as at the weld test, one contactor of one string closed at a time")),
        ("no string was closed above the difference in the list, and each came to rest",), stops)


def _steps(study: ProtectionStudy, allowed: Finding) -> tuple[str, ...]:
    """The order of joining; there is none where no difference is allowed."""
    return (
        "One meter, one string after the other, contactors open, all at rest for an hour or more: "
        f"the largest difference of any two at most {allowed.shown}. The fuller one drives its "
        "current into the other the moment they touch, and no relay limits it.",
        "The string that has the relay first: full start; the bus stands at its voltage.",
        "Then one further string, those still to come open: its minus contactor alone; across its "
        f"open plus contactor now at most {allowed.shown}, read again; then its plus contactor. "
        "Its current at that moment is the difference divided by the resistance of that string and "
        "of those on the bus.",
        f"Wait until the current between them has died away{_how_long(study)}; no load, no charge, "
        "no braking before. Then the next string, in the same way.",
        "One stop: all contactors open. Every contactor of every string once more as at the weld "
        "test: those without a relay have now closed under voltage for the first time.")


def _no_difference(figures: Figures) -> str:
    """Why no string may be joined, as the file for review says it."""
    asked = _asked(figures)
    barred = joining_barred(asked, string_duty(asked)) if asked is not None else ""
    return f"{barred}: {REMEDIES[barred]}" if barred else (
        "the difference at which strings may be joined is not known: say in the brief what it "
        "rests on, as the file for review asks")


def _asked(figures: Figures) -> StringsAsked | None:
    circuit = figures.study.circuit
    return strings_asked(circuit.feeds, (place.loop for place in circuit.places))


def _first_the_charge(study: ProtectionStudy) -> str:
    """Whether a voltage tells the charge of these strings at all."""
    hidden = _first_of(study, HIDDEN)
    if hidden is not None and _tells(study):
        return (f"Voltage tells the charge of these strings to within {hidden.shown} at the worst; "
                "cells of each string on its own list first, none apart from its like.")
    return ("Voltage does not tell the charge of these strings: every one is full, each charged on "
            "its own, and has rested; equal voltages alone permit nothing.")


def _tells(study: ProtectionStudy) -> bool:
    """As the file for review counts it: whether a voltage hides little enough of the charge."""
    hidden = _first_of(study, HIDDEN)
    return hidden is not None and hidden.number <= HIDDEN_MOST.number


def _how_long(study: ProtectionStudy) -> str:
    settled = _first_of(study, SETTLED)
    return f": 5 % of it is left after {settled.shown}" if settled is not None else ""


def _duty(study: ProtectionStudy) -> tuple[Finding, ...]:
    return tuple(f for i in study.items if i.key == "strings" for f in i.duty)


def _first_of(study: ProtectionStudy, title: str) -> Finding | None:
    return next((f for f in _duty(study) if f.title == title and f.known), None)


def difference(figures: Figures) -> Finding | None:
    """The file for review's own demand: the least allowed, less what the reading may hide.

    None where one of them is not known, or none is allowed. Where voltage does not tell the
    charge it holds for full strings alone.
    """
    asked = _asked(figures)
    return None if asked is None else joining_reading(asked, string_duty(asked))


def before_joining(figures: Figures) -> str:
    """What stands before strings are joined again, in words; "" where there is one alone."""
    if strings_of(figures.study) < 2:
        return ""
    allowed = difference(figures)
    most = f"at most {allowed.shown}" if allowed is not None else "not allowed to be any"
    full = "" if _tells(figures.study) else "each charged full on its own first; "
    return (f"strings: {full}the difference between any two, at rest, {most}, and the steps of "
            f"\"{JOIN}\" before one closes onto another")


def even_first(figures: Figures) -> tuple[str, ...]:
    """What every start from the joining on waits for; nothing where there is one string."""
    allowed = difference(figures)
    if strings_of(figures.study) < 2 or allowed is None:
        return ()  # where none may be joined, that stage holds its gate shut
    full = "" if _tells(figures.study) else ", each charged full on its own and rested"
    return (f"At each start the strings are joined anew as at \"{JOIN}\": at most "
            f"{allowed.shown} between them{full}, and no torque, no charge, no braking until they "
            "are even.",)

"""What a pack is called by its highest working voltage: one place for the words of every page.

At or below 60 V DC (voltage class A) nothing is called high-voltage; every caution still
stands, for a short-circuit burns, arcs and sets fire at any voltage.
"""

from __future__ import annotations

from packcalc.handover.figures import BORDER
from packcalc.handover.inside import voltage_whole
from packcalc.pack import PackModel
from packcalc.value import value_object


@value_object
class Called:
    """Words for one of the two voltage classes.

    Attributes:
        class_a: whether the pack stays at or below the border.
        vehicle: what responders are told first.
        cable: what nobody cuts or touches.
        specialist: who signs beside the electrician.
        labels: what covers over live parts carry.
        danger: what stays at or below the border; empty above it.
        warning: that it kills and stays live, at the end of a page's first sentence.
    """

    class_a: bool
    vehicle: str
    cable: str
    specialist: str
    labels: str
    danger: str
    warning: str
HIGH = Called(False, "High-voltage vehicle, converted", "orange cable",
              "high-voltage specialist", "high-voltage symbols", "",
              "LETHAL: it cannot be switched off.")
CLASS_A = Called(
    True, f"Vehicle with a traction battery of at most {BORDER.number:g} V DC, converted",
    "traction cable of any colour", "specialist for traction batteries",
    "warning labels for live parts (short-circuit, burns)",
    f"Voltage class A, at most {BORDER.number:g} V DC: the danger is the short-circuit, which "
    "burns, arcs and sets fire.",
    "It cannot be switched off.")


def called(pack: PackModel) -> Called:
    """The words for a pack; those of high voltage wherever its highest voltage is not whole."""
    low = voltage_whole(pack) and pack.highest_voltage.number <= BORDER.number
    return CLASS_A if low else HIGH

"""What may be changed in an answer keeps its pins. All lots are invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from packcalc.bench.dealing import Assignment, Effort, Pins
from packcalc.bench.outlook import look_out
from packcalc.brief import WantedPins

MARKS = ["A", "B", "C", "D", "E", "F"]


@dataclass
class Figures:
    capacity: np.ndarray
    resistance: np.ndarray


def outlook(pins: Pins, arrangement: str = "grouped"):
    """A with D and B with C, or as strings; E and F, as strong as A, are spare."""
    places, spare = np.array([[0, 3], [1, 2]]), np.array([4, 5])
    ah = np.array([100.0, 99.0, 98.0, 97.0, 100.0, 100.0]) * 3600.0
    value = 195.0 * 3600
    answer = Assignment(arrangement, places, spare, value, value, value, False, "", 1.0, 1.0, 36.0)
    return look_out(Figures(ah, np.full(6, 1e-3)), MARKS, answer, pins, Effort(rounds=5),
                    WantedPins((), (), (), (), ()))


def later(pins: Pins, arrangement: str = "grouped") -> dict[str, tuple[str, str]]:
    """For each place the spares that fit, and the note."""
    return {s.place: (" ".join(s.fits), s.note)
            for s in outlook(pins, arrangement).successors}


def test_without_pins_every_strong_spare_fits():
    assert set(later(Pins()).values()) == {("E F", "")}


def test_a_spare_kept_out_of_a_box_does_not_fit_there():
    allowed = np.ones((6, 2), dtype=bool)
    allowed[4, 1] = False
    assert later(Pins(allowed=allowed)) == {
        "1.1": ("E F", ""), "1.2": ("E F", ""),
        "2.1": ("F", "pins keep out E"), "2.2": ("F", "pins keep out E")}


def test_a_box_of_strings_counts_positions():
    allowed = np.ones((6, 4), dtype=bool)
    allowed[4, [1, 3]] = False  # the second position of each string
    assert later(Pins(allowed=allowed), "strings") == {
        "1.1": ("E F", ""), "1.2": ("F", "pins keep out E"),
        "2.1": ("E F", ""), "2.2": ("F", "pins keep out E")}


def test_a_spare_pinned_apart_fits_only_where_the_other_does_not_stay():
    assert later(Pins(apart=((4, 0),))) == {
        "1.1": ("E F", ""), "1.2": ("F", "pins keep out E"),
        "2.1": ("E F", ""), "2.2": ("E F", "")}


def test_a_block_stays_out_whole_and_a_placed_one_is_said_to_end():
    assert set(later(Pins(together=((4, 5),))).values()) == {("", "pins keep out E, F")}
    found = later(Pins(together=((0, 3),)))
    assert found["1.1"] == ("E F", "its pin with D ends")
    assert found["1.2"] == ("E F", "its pin with A ends") and found["2.1"] == ("E F", "")


def dropped(pins: Pins):
    return next(w for w in outlook(pins).what_ifs if "the weakest placed" in w.what)


@pytest.mark.parametrize("pins", [Pins(), Pins(apart=((3, 1),)), Pins(apart=((0, 3), (0, 1)))])
def test_dropping_a_module_that_is_only_pinned_apart_is_answered(pins):
    """Of 100, 99, 98, 100 and 100 Ah all but the 98: groups of 199 and 200, with A and B apart."""
    assert dropped(pins).capacity == pytest.approx(199.0 * 3600)


def test_dropping_one_of_a_block_says_with_whom():
    assert dropped(Pins(together=((0, 3),))).note == "it is pinned together with A"


def test_dropping_where_no_dealing_keeps_the_pins_says_so():
    allowed = np.ones((6, 2), dtype=bool)
    allowed[[0, 1, 2, 4], 1] = False  # without D one module alone may stand in group 2
    assert dropped(Pins(allowed=allowed)).note == \
        "no dealing without it was found that keeps the pins"

"""A reviewer's own change is held against the duty and against everything it touches."""

from __future__ import annotations

import pytest

from packcalc.checks import FAIL
from packcalc.decisions import decisions
from packcalc.review_change import recheck
from tests.review.cases import known, study
from tests.sized import example

DECISIONS = known(study())
FUSE = DECISIONS["main_fuse.choice"]
CABLE = DECISIONS["cable.battery-to-inverter.choice"]
RESISTOR = DECISIONS["precharge.choice"]


def item(key: str):
    return next(i for i in study().items if i.key == key)


def rating_above(amperes: float) -> str:
    """The next standard rating above a current."""
    names = [c.name for c in item("main_fuse").candidates]
    return next(n for n in names if float(n.split()[0]) > amperes)


def copper(words: str) -> float:
    """Square millimetres a pole in "2 × 150 mm²: ..."."""
    runs, section = words.split("mm²")[0].split("×")
    return float(runs) * float(section)


def test_a_fuse_that_no_longer_protects_its_cable_is_flagged() -> None:
    capacity = study().routes[0].current_capacity.number
    found = recheck(study(), FUSE, rating_above(capacity))
    assert found.understood and found.breaks
    assert "Rated current within the cable's capacity" in [
        c.title for c in found.checks if c.verdict == FAIL]
    assert "fails Rated current within the cable's capacity" in found.words


def test_the_cable_is_sized_again_with_the_new_fuse() -> None:
    capacity = study().routes[0].current_capacity.number
    found = recheck(study(), FUSE, rating_above(capacity))
    (cable,) = [t for t in found.touched if t.part == "Cable, battery to inverter" and t.choice]
    assert copper(cable.shown) > copper(cable.was)
    assert f"{cable.shown}, in place of {cable.was}" in found.words


def test_a_fuse_within_the_cable_breaks_nothing_at_the_cable() -> None:
    name = item("main_fuse").shortlist[0].name
    found = recheck(study(), FUSE, name)
    assert found.understood and not any(c.verdict == FAIL for c in found.checks)
    assert not any(t.worse for t in found.touched)


def test_a_fuse_too_small_for_the_load_fails_its_duty() -> None:
    found = recheck(study(), FUSE, "16 A")
    assert "Carries the continuous load" in [c.title for c in found.checks if c.verdict == FAIL]


def test_a_thinner_cable_is_held_against_the_fuse() -> None:
    tried = item(CABLE.item).candidates[0]
    found = recheck(study(), CABLE, tried.name)
    assert found.understood
    came = {c.title: c.verdict for c in found.checks}
    assert {c.title for c in tried.checks} <= set(came)
    assert all(came[c.title] == FAIL for c in tried.checks if c.verdict == FAIL)
    assert found.breaks and tried.verdict == FAIL


def test_a_thicker_cable_breaks_nothing() -> None:
    name = item(CABLE.item).shortlist[1].name
    found = recheck(study(), CABLE, name)
    assert found.understood and not found.breaks


def test_a_resistor_is_held_against_time_and_energy() -> None:
    name = item("precharge").shortlist[0].name
    found = recheck(study(), RESISTOR, name.replace("Ω", "ohm"))
    assert "bus reaches the level in time" in [c.title for c in found.checks]
    assert "Everything was sized again with this value" in found.words


def test_another_resistor_changes_time_current_energy_and_relay() -> None:
    names = [c.name for c in item("precharge").candidates if not c.own]
    today = item("precharge").shortlist[0].name
    other = next(n for n in reversed(names) if n != today)
    found = recheck(study(), RESISTOR, other)
    moved = {t.title: (t.was, t.shown) for t in found.touched if t.part == item("precharge").title}
    for words in ("Time to the closing level", "Peak pre-charge current",
                  "Energy of failed pre-charges", "Peak power in the resistor"):
        (title,) = [t for t in moved if t.startswith(words)]
        assert moved[title][0] != moved[title][1]
        assert words in found.words
    assert any("relay" in c.title for c in found.checks)


def test_a_resistor_too_large_breaks_the_timeout_elsewhere() -> None:
    sized = example("truck")
    choice = next(d for d in decisions(sized) if d.id == "precharge.choice")
    found = recheck(sized, choice, "330 Ω")
    assert found.breaks
    assert "bus reaches the level in time" in [c.title for c in found.checks if c.verdict == FAIL]
    assert any("timeout" in t.title and t.worse for t in found.touched)


def test_a_bare_string_fuse_is_held_as_rating_and_as_part() -> None:
    sized = example("minibus", "12S2P", "strings")
    choice = next(d for d in decisions(sized) if d.id == "string_fuse.choice")
    found = recheck(sized, choice, "1250 A")
    assert "Opens at the lowest fault within about a second" in [
        c.title for c in found.checks if c.verdict == FAIL]
    assert found.breaks and any(t.worse for t in found.touched)


@pytest.mark.parametrize(("kind", "name"), [
    ("main_fuse", "Talvik 250 full range"), ("contactors", "Lyng 200"),
    ("cable.battery-to-inverter", "1 × 150 mm²"), ("precharge", "330 Ω"),
    ("disconnect", "Port 200 with link")])
def test_every_kind_of_part_is_held_against_all_that_it_touches(kind: str, name: str) -> None:
    """Whatever the whole design says of the part when the brief names it, the review says too."""
    sized = example("truck")
    choice = next(d for d in decisions(sized) if d.id == f"{kind}.choice")
    found = recheck(sized, choice, name)
    assert found.understood and found.checks
    worse = [t for t in found.touched if t.worse]
    if kind in ("main_fuse", "contactors", "precharge"):
        assert found.breaks
    if kind in ("contactors", "precharge"):
        assert worse
    for t in worse:  # each by name, with what became of it, however many there are
        assert f"{t.part}: {t.title} ({t.after}, was {t.before or 'no verdict'})" in found.words
    more = [t for t in worse if t.after != FAIL and not t.lost]
    assert ("graver: " in found.words) == bool(more)
    assert "as told" not in found.words
    assert ("nothing else was found that it makes graver" in found.words.lower()) == (not worse)


@pytest.mark.parametrize("asked", ["Talvik 315 full range", "500 A"])
def test_what_a_changed_fuse_touches_is_named_by_the_fuse_of_the_change(asked: str) -> None:
    """A check whose title names the fuse is held again, and no pass of it is told as lost."""
    sized = example("truck")
    today = {d.id: d for d in decisions(sized)}
    found = recheck(sized, today["main_fuse.choice"], asked)
    assert any("opens without Talvik 400 full range" in d.title for d in today.values())
    assert not [t.title for t in found.touched if "Talvik 400" in t.title
                and "mid-pack" not in t.title.lower()]
    named = asked if asked.startswith("Talvik") else f"{asked.split()[0]}.0 A, no data sheet"
    opens = [t for t in found.touched if "opens without" in t.title]
    assert opens and all(t.title.endswith(f"opens without {named}") for t in opens)
    lost = {t.after for t in opens}
    assert lost == ({"pass"} if asked.startswith("Talvik") else {"not evaluated"})
    assert all(t.shown != "no longer shown" for t in opens)


def test_a_contactor_rating_is_held_against_its_duty() -> None:
    found = recheck(study(), DECISIONS["contactors.choice"], item("contactors").candidates[0].name)
    assert found.understood and found.checks


@pytest.mark.parametrize("words", ["a bigger one", "", "500", "500 V", "0 A", "400 A or 500 A",
                                   "<script>", "=500", "9" * 500, "not 400 A", "400 A."])
def test_a_change_that_cannot_be_understood_is_said_to_be(words: str) -> None:
    found = recheck(study(), FUSE, words)
    assert not found.understood and not found.breaks
    assert "cannot be understood" in found.words and "known: 16 A" in found.words


@pytest.mark.parametrize("words", ["315A", "315 A", "to 315 A", " 315\u00a0A "])
def test_spaces_and_signs_do_not_matter(words: str) -> None:
    assert recheck(study(), FUSE, words).understood


@pytest.mark.parametrize("sign", ["×", "x", "*", ""])
def test_a_section_in_the_words_of_the_trade(sign: str) -> None:
    name = next(c.name for c in item(CABLE.item).candidates if c.name.startswith("1 ×"))
    words = name.replace("1 × ", f"1 {sign} " if sign else "").replace("mm²", "mm2")
    assert recheck(study(), CABLE, words).understood


def test_a_figure_goes_into_each_check_that_uses_it() -> None:
    highest = next(d for d in DECISIONS.values() if d.leading and d.finding.unit == "V")
    found = recheck(study(), highest, "460 V")
    assert found.understood and found.breaks  # the inverter's absolute maximum is 450 V
    assert any("absolute maximum" in c.title for c in found.checks if c.verdict == FAIL)
    assert "what was computed from it was not computed again" in found.words
    assert not recheck(study(), highest, "440 V").breaks


@pytest.mark.parametrize("words", ["460", "460 A", "1e3 V", "nan V", "inf V", "460 V 2",
                                   "9" * 70 + " V"])
def test_a_figure_in_another_unit_is_not_understood(words: str) -> None:
    highest = next(d for d in DECISIONS.values() if d.leading and d.finding.unit == "V")
    assert "write a number in V" in recheck(study(), highest, words).words


def test_a_check_without_ratings_asks_for_the_entry() -> None:
    place = next(d for d in DECISIONS.values() if d.item == "place")
    assert "change the entry of the brief" in recheck(study(), place, "500 A").words

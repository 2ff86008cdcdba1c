"""Loops told as one fault place: every current that nobody ends, and whose each figure is.

All designs are the invented examples. The place of a leak inside a module with a chafed branch
wire printed the hole of one branch, 161 A to 180 A, where others leave 78 A to 90 A and 227 A to
360 A: taking two branches out of the minibus made the printed hole wider.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from packcalc.findings import leaf
from packcalc.places.rivals import worst_of_rivals
from packcalc.places.stands import run_up_to_fuse
from packcalc.protect import places as pl
from packcalc.report.places_report import headline, places_table
from packcalc.unended import gaps_of, gaps_together, unended
from tests.cases.studies import study

KEY = "chassis.second.inside_module_branch"
BEYOND = "chassis.second.beyond_mid"
thorough = pytest.mark.thorough


def place(found, key=KEY):
    return next(p for p in found.circuit.places if p.key == key)


def nobody(gaps):
    return [(g.low, g.high) for g in gaps if g.clears is False]


def within(span, spans):
    """Whether one span lies in another, but for the rounding of a break point."""
    return any(low <= span[0] * (1 + 1e-6) and span[1] <= high * (1 + 1e-6) for low, high in spans)


# -- spans of several loops together ---------------------------------------------------------


def rival(name, *gaps, low=10.0, high=1000.0, ends=(True, True)):
    """A loop with its gaps as (low, high, whether nobody ends them)."""
    def at(end, value, clears):
        return pl.Cleared(end, leaf("I", "I", "A", value, "given"), "a fuse", clears)
    v, lowest, most = (leaf("x", "x", "A", n, "given") for n in (1.0, low, high))
    loop = pl.Loop(KEY, "leak", "cells", v, most, lowest, most, v, v,
                   rival=pl.Rival(name, "each"))
    found = tuple(pl.Gap(a, b, False if none else None, "" if none else "a fuse", f"why of {name}")
                  for a, b, none in gaps)
    return pl.FaultPlace(loop, at("highest", high, ends[1]), at("lowest", low, ends[0]), (),
                         pl.left_between(found) if found else None, found)


@pytest.mark.parametrize(("rivals", "told"), [
    (([(10, 20, True)], [(15, 40, True)]), [(10, 40, False)]),
    (([(10, 20, True)], [(30, 40, True)]), [(10, 20, False), (30, 40, False)]),
    (([(10, 20, True)], [(20 * (1 + 1e-9), 40, True)]), [(10, 40, False)]),
    # what one does not show and nobody ends in another is told as nobody's
    (([(10, 50, False)], [(20, 30, True)]), [(10, 20, None), (20, 30, False), (30, 50, None)]),
    (([(10, 50, True)], [(20, 30, False)]), [(10, 50, False)]),
    (([(10, 50, True)], [(50, 50, False)]), [(10, 50, False)]),
    (([(10, 50, True)], [(60, 60, False)]), [(10, 50, False), (60, 60, None)]),
    (([(10, 50, True)], [(10, 50 * (1 + 1e-9), False)]), [(10, 50, False)]),
])
def test_what_any_of_them_leaves_is_told(rivals, told):
    for order in (rivals, rivals[::-1]):
        places = [rival(f"r{n}", *gaps) for n, gaps in enumerate(order)]
        assert [(g.low, g.high, g.clears) for g in gaps_together(places)] == told
        (found,) = worst_of_rivals(places)
        assert found.nobody and found.between.clears is False
        assert found.between.spans.count(" to ") == len(told)


def test_one_that_nobody_ends_throughout_has_no_span_of_its_own():
    bare = rival("bare", ends=(False, False))
    assert nobody(gaps_of(bare)) == [(10.0, 1000.0)]
    swept = rival("swept", (20, 30, True))
    (found,) = worst_of_rivals([bare, swept])
    assert found.between.words == "nobody from 10.00 A to 1000 A"


def test_each_says_up_to_where():
    (found,) = worst_of_rivals([rival("a", (10, 20, True), ends=(False, True)),
                                rival("b", (30, 40, True))])
    assert found.loop.notes[0] == ("each: a 10.00 A: nobody up to 20.00 A; "
                                   "b 10.00 A: a fuse, nobody from 30.00 A to 40.00 A")


def test_a_check_of_what_the_fault_runs_through_names_the_currents_of_all():
    # it named those of the first alone, "nor at" no place more
    words = unended([rival("a", (10, 20, True)), rival("b", (30, 40, True))])
    assert words == ("from 10.00 A to 20.00 A and from 30.00 A to 40.00 A nobody ends the heat "
                     "at 'leak'")


# -- the examples ----------------------------------------------------------------------------


@thorough
@pytest.mark.parametrize("name", ["truck", "minibus", "van", "faulty"])
def test_no_branch_taken_out_makes_the_hole_larger(name):
    at = place(study(name))
    whole = nobody(gaps_together(at.rivals))
    assert all(within(span, whole) for p in at.rivals for span in nobody(gaps_of(p)))
    for some in (s for n in range(1, len(at.rivals)) for s in combinations(at.rivals, n)):
        (told,) = worst_of_rivals(some)
        assert all(within(span, whole) for span in nobody(gaps_together(told.rivals)))
        assert not told.nobody or at.nobody


@thorough
@pytest.mark.parametrize("name", ["truck", "minibus"])
def test_page_one_and_the_table_tell_every_span(name):
    found = study(name)
    at = place(found)
    assert f"{at.title} ({at.between.spans})" in headline(found.circuit.places)
    for low, high in nobody(gaps_together(at.rivals)):
        assert pl.Gap(low, high, False).span in at.between.span
    # each says how far its own hole reaches
    for p in at.rivals:
        assert all(f"to {g.span.partition(' to ')[2]}" in at.loop.notes[0] for g in gaps_of(p))
        assert not nobody(gaps_of(p)) or p.loop.rival.name in at.between.why


@thorough
def test_a_current_and_who_ends_it_are_of_one_branch_or_say_whose():
    # "Highest, all sources 44180; fuse of battery heater", where the heater's row says 41440
    at = place(study("truck"))
    table = places_table((at,))
    row = {c.key: cell.text for c, cell in zip(table.columns, table.rows[0], strict=True)}
    strongest = max(at.rivals, key=lambda p: p.highest.number)
    name = strongest.loop.rival.name
    assert f"({name})" in row["highest_all_A"] and row["who_highest"] == f"fuse of {name}"
    least = min((p for p in at.rivals if not p.shown), key=lambda p: p.lowest.number)
    assert row["lowest_A"].endswith(f" ({least.loop.rival.name})")
    assert row["who_lowest"] == "nobody"
    # of the van the slower answer is another's than the highest current: it says whose
    van = place(study("van"))
    told = places_table((van,))
    row = {c.key: cell.text for c, cell in zip(told.columns, told.rows[0], strict=True)}
    assert row["who_highest"].partition("; subject to")[0] == "main fuse (charger)"
    assert "(charger)" not in row["highest_all_A"]


@thorough
def test_what_nobody_opens_of_the_path_counts_every_loop_that_runs_through_it():
    # the heater leaves ahead of the contactors, and hid that two others leave behind them
    found = study("truck")
    check = next(c for c in found.coordination.item.checks
                 if c.title == "overload and fault range meet, from pole to pole")
    assert place(found).title in check.reason.replace("'", "")


# -- a loop that passes the mid-pack fuse ----------------------------------------------------


@thorough
@pytest.mark.parametrize(("after", "least"), [(8, 8), (5, 5), (11, 5)])
def test_a_loop_from_a_pole_past_the_fuse_has_the_modules_up_to_it(after, least):
    # "1 to 16 modules", where all of them up to the fuse lie in the loop
    found = study("truck", pack__fuse_after=after)
    loop, module = place(found, BEYOND).loop, found.circuit.feeds.module
    assert run_up_to_fuse(found.brief, 16) == least
    assert loop.feeds.endswith(f", {least} to 16")
    across = place(found, "chassis.second.inside_across").loop
    assert across.feeds.endswith(", 1 to 16")
    outside = next(d.drop for d in loop.devices if d.drop is not None).number * 6 * least
    assert loop.lowest.number == pytest.approx(
        least * module.voltage_empty.number
        / (least * module.resistance_long.number + outside))
    assert loop.lowest.number > across.lowest.number
    assert min(voltage.number for d in loop.devices for voltage, _ in d.breaks) \
        == pytest.approx(least * module.voltage_full.number, rel=1e-6)


@thorough
def test_where_its_place_is_open_one_module_counts():
    open_, told = (place(study("truck", pack__fuse_after=after, path__main_fuse="mid-pack"),
                         BEYOND).loop for after in ("unknown", 8))
    assert open_.feeds.endswith(", 1 to 16") and told.feeds.endswith(", 8 to 16")
    assert open_.lowest.number < told.lowest.number


# -- the slowest loop ------------------------------------------------------------------------


@thorough
@pytest.mark.parametrize("key", ["contactors", "charge_contactor"])
def test_the_time_constant_names_a_place_that_has_it(key):
    # "longest of all fault places from pole to pole", and that of a loop through the chassis
    found = study("truck")
    item = next(i for i in found.items if i.key == key)
    constant = next(f for f in item.duty if f.title.startswith("Time constant"))
    assert "pole to pole" not in constant.note
    title = constant.note.partition("at full voltage, of '")[2].rstrip("'")
    places = [q for p in found.circuit.places for q in (p.rivals or (p,))
              if title == p.title or title == q.title]
    assert any(t.number == constant.number for p in places for d in (*p.loop.devices,
                                                                     *p.loop.passed)
               for _, t in d.breaks)
    # the charge contactor's sheet said 1.63 ms at 448 V and 1.73 ms at 406 V
    assert constant.number == pytest.approx(1.723e-3, rel=1e-3)

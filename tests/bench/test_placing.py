"""Blocks of pinned modules: placed where that costs little, else left out with the cost told.

Every lot is invented; what is held against is every dealing of it, tried one by one.
"""

import itertools
import json
import re
from functools import lru_cache
from types import SimpleNamespace

import numpy as np
import pytest

from packcalc.bench import assign as asg
from packcalc.bench.dealing import Effort, Pins
from packcalc.bench.grade import grade_sheet
from packcalc.bench.outlook import look_out
from packcalc.brief import WantedPins
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.assign_report import assignment_document
from packcalc.report.render import render
from packcalc.study import find_layout
from tests.bench.rows import GOOD, sheet_of

pytestmark = pytest.mark.thorough


def study(capacities, arrangement="grouped", **bench):
    """Modules M0, M1, … of these capacities [Ah] in 2S2P."""
    asked = brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": len(capacities),
                     "state_of_health": "90 %", "resistance_growth": 1.2}],
        "inverter": {"voltage_range": "30 V to 60 V"},
        "power": {"peak": "5 kW"},
        "battery": {"coldest_start": "10 degC", "charge_lowest": "12 %"},
        "bench": {"demand_selfdischarge": "no"} | bench})
    rows = [{**GOOD, "mark": f"M{i}", "capacity_Ah": str(q)} for i, q in enumerate(capacities)]
    return asg.assign_modules(asked, grade_sheet(sheet_of(*rows), brief=asked),
                              find_layout(asked, "2S2P", arrangement))


def dealt_of(units, resistance):
    """Bare modules, their capacities in hundredths of an ampere-hour."""
    return [SimpleNamespace(mark=f"M{i}", capacity=SimpleNamespace(number=q * 36.0),
                            resistance=SimpleNamespace(number=r))
            for i, (q, r) in enumerate(zip(units, resistance, strict=True))]


def ampere_hours(study):
    return round(study.assignment.value / 3600, 2)


# --- placed where it costs little ------------------------------------------------------------

@pytest.mark.parametrize("arrangement, whole", [
    ("grouped", 199.9 + 199.9),  # the block's own group is the weakest
    ("strings", 199.9 + 199.95)])  # of the other string a module of 199.95 is the weakest
def test_a_block_is_placed_beside_others_than_the_strongest(arrangement, whole):
    """The two strongest others are pinned apart, and a group or string has but two places."""
    found = study([199.9, 199.9, 200, 200, 199.95, 199.95], arrangement,
                  pins_together=[["M0", "M1"]], pins_apart=[["M2", "M3"]])
    rows = {p.dealt.mark: p.row for p in found.places}
    assert rows["M0"] == rows["M1"] and not {"M2", "M3"} <= set(rows)
    assert ampere_hours(found) == pytest.approx(whole)
    assert not any("left out:" in note for note in found.notes)


def test_what_a_block_that_is_left_out_would_cost_is_told_there_too():
    """190 + 190 of 200 + 199.95 (M2 or M3 with M4 or M5) is 380 of 399.95, 5 % less."""
    found = study([190, 190, 200, 200, 199.95, 199.95], pins_together=[["M0", "M1"]],
                  pins_apart=[["M2", "M3"]])
    assert {d.mark for d in found.spare} == {"M0", "M1"}
    note, = (note for note in found.notes if "left out:" in note)
    assert "with them placed the pack would come to 380.0 Ah, 5 % less" in note


def test_that_a_block_has_no_place_is_said_where_it_is_so():
    found = study([199.9, 199.9, 200, 200, 199.95, 199.95], pins_together=[["M0", "M1"]],
                  pins_not_in=[["M0", "front"], ["M1", "rear"]],
                  boxes={"front": [1, 1], "rear": [2, 2]})
    note, = (note for note in found.notes if "left out:" in note)
    assert "no dealing places them and keeps the other pins" in note


def test_a_block_is_placed_in_a_lot_too_large_to_try_every_choice():
    """Ten strongest are kept apart: of them seven at most stand beside the block's own group.

    399.6 of the block costs 0.08 % of 399.9, less than the 0.25 % that may be given up.
    """
    units = np.array([199.8] * 2 + [200.0] * 10 + [199.9] * 8)
    apart = tuple(itertools.combinations(range(2, 12), 2))
    found, notes = asg.deal_pinned(dealt_of(units * 100, [8e-3] * 20), SimpleNamespace(
        series=8, parallel=2, arrangement="grouped"), Pins(((0, 1),), apart), Effort())
    assert notes == () and np.isin([0, 1], found.places).all()
    assert found.value / 3600 == pytest.approx(399.6)


def test_the_blocks_that_stand_beside_it_are_named():
    """Two blocks fill 2S2P: with both, 190 + 190 is the weakest; with one, 199.9 + 199.9."""
    found = study([190, 190, 199.9, 199.9, 200, 200],
                  pins_together=[["M0", "M1"], ["M2", "M3"]])
    note, = (note for note in found.notes if "left out:" in note)
    assert "with them placed beside M2 with M3 the pack would come to 380.0 Ah, 5 % less" in note


# --- what if, and what to replace first ------------------------------------------------------

@lru_cache(maxsize=None)
def costly():
    """The block is placed: 193 + 193 = 386 of 400.1 without it, less than 5 % given up."""
    return study([193, 193, 200, 200.2, 200.1, 199.95], pins_together=[["M0", "M1"]],
                 pins_not_in=[["M5", "rear"]], boxes={"rear": [2, 2]}, given_up="5 %")


def test_what_ifs_place_a_block_as_the_answer_does():
    found = {w.what: w.capacity / 3600 for w in costly().outlook.what_ifs if w.capacity}
    assert ampere_hours(costly()) == pytest.approx(193 + 193)
    assert found == pytest.approx({
        "as it is, dealt for capacity alone": 386,
        "one more module like the middle of the lot": 386,
        "without the pin M5 not in rear": 386,
        "without the pin M0 with M1": 200 + 200.1})  # beside 199.95 + 200.2


def test_what_is_replaced_first_is_a_module_of_the_block():
    """One like the middle of the lot, (199.95 + 200) / 2, beside the other of 193."""
    found = {w.what: w.capacity / 3600 for w in costly().outlook.replace_first}
    middle = (199.95 + 200) / 2
    assert {m: found.pop(m) for m in ("M0", "M1")} == pytest.approx(
        {"M0": 193 + middle, "M1": 193 + middle})
    assert found and all(value == pytest.approx(386) for value in found.values())


def test_the_page_says_that_a_block_ends_where_one_of_it_is_replaced():
    told = json.loads(render(assignment_document(costly()), "json"))["successors"]
    ends = {row["mark"]: row["fits"] for row in told if "its pin with" in row["fits"]}
    assert ends == {"M0": "M2; its pin with M1 ends; pins keep out M5",
                    "M1": "M2; its pin with M0 ends; pins keep out M5"}


def test_a_block_that_then_drops_out_is_named():
    """395 costs 1.00 % of 200 + 199, and with one more of 199.25 1.06 % of 200 + 199.25."""
    found = study([197.5, 197.5, 200, 200, 199.5, 199], pins_together=[["M0", "M1"]],
                  given_up="1.04 %")
    more, = (w for w in found.outlook.what_ifs if w.what.startswith("one more"))
    assert ampere_hours(found) == pytest.approx(395)
    assert more.capacity / 3600 == pytest.approx(399.25)
    assert more.note == "M0 with M1 then left out"


def test_nothing_that_allows_more_is_worth_less():
    """The answer itself stays possible with a better module, one more of them, or fewer pins."""
    q = np.round(np.random.default_rng(0).normal(90, 2, 20), 2)
    apart = tuple((2 * i, 2 * i + 1) for i in range(6))
    pins, marks = Pins((), apart), [f"M{i}" for i in range(20)]
    answer, _ = asg.deal_pinned(dealt_of(q * 100, [8e-3] * 20), SimpleNamespace(
        series=6, parallel=3, arrangement="grouped"), pins, Effort())
    numbers = SimpleNamespace(capacity=q * 3600, resistance=np.full(20, 8e-3))
    found = look_out(numbers, marks, answer, pins, Effort(), WantedPins(
        (), tuple((marks[a], marks[b]) for a, b in apart), (), (), {}))
    more = [w for w in (*found.what_ifs, *found.replace_first) if "weakest placed" not in w.what]
    assert all(w.capacity >= answer.best_value for w in more) and len(more) == 17


# --- every dealing tried ---------------------------------------------------------------------

def dealings(count, rows, width, pins):
    """Every dealing that keeps the pins; of strings their positions are left out of account."""
    def keeps(own, row):
        return (all(len(own & set(block)) in (0, len(block)) for block in pins.together)
                and not any(own >= set(pair) for pair in pins.apart)
                and (pins.allowed is None or all(pins.allowed[m, row] for m in own)))

    def further(left, row):
        if row == rows:
            yield ()
            return
        for own in itertools.combinations(left, width):
            if keeps(set(own), row):
                rest = [m for m in left if m not in own]
                yield from ((own, *others) for others in further(rest, row + 1))
    return further(range(count), 0)


def lot_of(seed):
    """Capacities in hundredths of an ampere-hour, resistances, shape, pins, what is given up."""
    rng = np.random.default_rng(seed)
    arrangement = ("grouped", "strings")[seed % 2]
    series, parallel = ((2, 2), (3, 2), (2, 3))[seed % 3]
    count = series * parallel + int(rng.integers(2, 4 if series * parallel > 4 else 5))
    units = np.round(rng.normal(9000, (10, 100)[seed // 2 % 2], count))
    block = np.argsort(units)[:2] if rng.random() < 0.6 else rng.permutation(count)[:2]
    apart = [tuple(rng.permutation(count)[:2].tolist()) for _ in range(rng.integers(1, 5))]
    allowed = None
    if arrangement == "grouped" and rng.random() < 0.4:
        allowed = rng.random((count, series)) < 0.85
    block = tuple(sorted(block.tolist()))
    return (units, rng.normal(8e-3, 1e-3, count), (series, parallel, arrangement),
            Pins((block,), tuple(p for p in apart if set(p) != set(block)), allowed),
            (0.0025, 0.02)[int(rng.integers(2))])


@pytest.mark.parametrize("seed", range(60))
def test_a_block_is_left_out_only_where_every_dealing_says_so(seed):
    units, resistance, (series, parallel, arrangement), pins, given_up = lot_of(seed)
    groups = arrangement == "grouped"
    rows, width = (series, parallel) if groups else (parallel, series)
    tried = list(dealings(len(units), rows, width, pins))
    if not tried:
        pytest.skip("no dealing keeps these pins")
    every = np.array(tried)
    held = units[every].sum(axis=2).min(axis=1) if groups else units[every].min(axis=2).sum(axis=1)
    placing = np.isin(every, pins.together[0][0]).any(axis=(1, 2))
    found, notes = asg.deal_pinned(
        dealt_of(units, resistance),
        SimpleNamespace(series=series, parallel=parallel, arrangement=arrangement), pins,
        Effort(tolerance=given_up))
    best, most = held.max(), held[placing].max(initial=-np.inf)
    assert found.bound / 36 >= best - 1e-6
    if np.isin(pins.together[0][0], found.places):
        assert found.best_value / 36 == pytest.approx(most)
        assert notes == () and most >= best * (1 - given_up) - 1e-6
        bears = placing & (held >= most * (1 - given_up * groups) - 1e-6)
        rows_ = resistance[every[bears]]
        own = (1 / rows_).sum(axis=2) if groups else 1 / rows_.sum(axis=2)
        assert found.conductance_bound >= own.min(axis=1).max() * (1 - 1e-9)
    elif most > -np.inf:
        told, = re.findall(r"come to ([\d.]+) Ah", notes[0])
        assert float(told) == pytest.approx(most / 100, rel=1e-3)  # four figures are shown
        assert most < best * (1 - given_up)
    else:
        assert "no dealing places them and keeps the other pins" in notes[0]

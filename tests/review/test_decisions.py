"""Decisions: stable ids, digests of what they rest on, order of consequence."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from packcalc.api import bench_of, size_protection
from packcalc.checks import FAIL
from packcalc.decisions import (
    CHOICE,
    FIGURE,
    KEPT,
    MOST_GRAVE,
    decision_id,
    decisions,
    finding_digest,
    gravity,
)
from packcalc.findings import Origin, leaf
from tests.briefs import EXAMPLES
from tests.review.cases import known, study
from tests.sized import example


@pytest.mark.parametrize("brief", EXAMPLES, ids=lambda p: p.parent.name)
def test_ids_are_unique_and_of_plain_letters(brief) -> None:
    found = decisions(example(brief.parent.name))
    ids = [d.id for d in found]
    assert len(ids) == len(set(ids)) > MOST_GRAVE
    assert all(re.fullmatch(r"[a-z0-9_.-]+", name) for name in ids)
    assert all(re.fullmatch(r"k[0-9a-f]{12}", d.digest) for d in found)
    assert not {a for d in found for a in d.aliases} & set(ids)


@pytest.mark.parametrize("brief", EXAMPLES, ids=lambda p: p.parent.name)
def test_every_check_and_every_fault_place_is_decided(brief) -> None:
    sized = example(brief.parent.name)
    found = decisions(sized)
    titles = {(d.part, d.title) for d in found}
    named = "named in the brief, meets its duty"
    for item in sized.items:
        # a named part is decided on as the part put forward
        assert {(item.title, c.title) for c in item.checks if named not in c.title} <= titles
    places = [d for d in found if d.item == "place"]
    assert len(places) == len(sized.circuit.places)


def test_those_of_the_very_same_study_are_made_once() -> None:
    sized = example("van")
    bench = bench_of(sized)
    made, benched = decisions(sized), decisions(sized, bench)
    assert decisions(sized) is made and decisions(sized, bench_of(sized)) is benched
    assert {d.id for d in made} < {d.id for d in benched}
    again = replace(sized, items=sized.items[1:])  # another study has its own
    assert {d.item for d in made} - {d.item for d in decisions(again)} == {sized.items[0].key}
    others = [study(battery__hottest=f"{40 + i} degC") for i in range(KEPT)]
    assert all(decisions(one) is decisions(one) for one in others)
    assert decisions(sized) is not made and decisions(sized) == made  # no more than KEPT stay


def test_the_gravest_come_first() -> None:
    found = decisions(study(inverter__absolute_maximum="431 V", battery__coldest_start="-20 degC"))
    assert [gravity(d) for d in found] == sorted(gravity(d) for d in found)
    fails = [d for d in found if d.verdict == FAIL]
    assert fails and list(found[:len(fails)]) == fails
    after = found[len(fails):len(fails) + 3]
    assert [d.leading for d in after] == [True, True, True]


def test_one_figure_of_several_parts_is_one_decision() -> None:
    found = [d for d in decisions(study()) if d.kind == FIGURE]
    assert len({d.digest for d in found}) == len(found)
    highest = next(d for d in found if d.leading and d.finding.unit == "V")
    assert "Main fuse" in highest.also and highest.aliases


def test_same_study_same_digests() -> None:
    again = size_protection(study().brief)
    assert [(d.id, d.digest) for d in decisions(again)] == \
        [(d.id, d.digest) for d in decisions(study())]


def test_a_change_moves_what_rests_on_it_and_nothing_else() -> None:
    before, after = known(study()), known(study(surroundings__cable_ambient="50 degC"))
    moved = {k for k in before if k in after and before[k].digest != after[k].digest}
    assert "cable.battery-to-inverter.factor-for-the-air-temperature" in moved
    assert all(before[k].digest == after[k].digest for k in before if k in after
               and before[k].item in ("highest_voltage", "precharge", "contactors"))


def test_digest_counts_values_and_grounds_but_not_lines() -> None:
    one = leaf("peak power", "P", "kW", 60e3, "given", origin=Origin("a.toml", 3, "power.peak"))
    moved = replace(one, origin=Origin("b.toml", 9, "power.peak"))
    assert finding_digest(one) == finding_digest(moved)
    for other in (replace(one, value=60.001e3), replace(one, basis="assumed"),
                  replace(one, source="packcalc-rule")):
        assert finding_digest(other) != finding_digest(one)


def test_choice_keeps_its_id_when_another_rating_comes_first() -> None:
    before, after = known(study()), known(study(power__continuous="30 kW"))
    name = "main_fuse.choice"
    assert before[name].kind == after[name].kind == CHOICE
    assert before[name].shown != after[name].shown
    assert before[name].digest != after[name].digest


def test_id_of_a_route_with_odd_letters() -> None:
    assert decision_id("cable.<b>Ü</b> 1", "A & B") == "cable.b-b-1.a-b"

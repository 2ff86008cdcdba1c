"""From a brief to ranked layouts, misses, refusals, and what was not evaluated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from packcalc import study as study_module
from packcalc.errors import UnknownName, UserError
from packcalc.layouts import Layout, Part, asks_of
from packcalc.protection import study_protection
from packcalc.screening import screen_one
from packcalc.study import MOST_MISSES, find_layout, list_layouts

from tests.briefs import asked, examples, module

OTHER = module(id="b", title="the other", count=12)


def labels(study):
    return [(study.layout(i).label, study.layout(i).arrangement) for i in range(len(study))]


@pytest.mark.parametrize("name", examples())
def test_examples_rank_by_the_stated_rules(name):
    study = list_layouts(examples()[name])
    assert len(study) > 0 and len(labels(study)) == len(set(labels(study)))
    keys = []
    for i in range(len(study)):
        row, layout = study.row(i), study.layout(i)
        keys.append((-np.floor(row["smallest_margin"] / 0.02 + 1e-9),
                     -round(row["usable_energy"] / 3600), round(row["mass"], 3),
                     layout.arrangement == "strings"))
        assert row["smallest_margin"] >= 0
    assert keys == sorted(keys)


def test_rows_carry_the_figures_of_their_layout():
    brief = asked([module(), OTHER])
    study = list_layouts(brief)
    for i in range(len(study)):
        alone = screen_one(brief, asks_of(brief), study.layout(i))
        assert study.row(i)["loaded_voltage"] == pytest.approx(alone.columns["loaded_voltage"][0])
        assert study.row(i)["smallest_margin"] == pytest.approx(alone.smallest_margin[0])


def test_two_types_are_ranked_together():
    study = list_layouts(asked([module(), OTHER]))
    entries = {study.layout(i).parts[0].entry for i in range(len(study))}
    assert 0 in entries and study.tried == 112 + len(
        [1 for s in range(1, 13) for p in range(1, 13) for _ in range(1 if p == 1 else 2)
         if s * p <= 12])


def test_misses_are_few_different_and_nearest_first():
    study = list_layouts(asked())
    assert len(study.misses) == MOST_MISSES
    named = [m.layout.label for m in study.misses]
    assert len(set(named)) == len(named)
    short = []
    for miss in study.misses:  # no voltage of these lies too low: those above a maximum come last
        row = screen_one(asked(), asks_of(asked()), miss.layout)
        above = row.columns["highest_voltage"][0] > 450.0 or row.columns["full_voltage"][0] > 430.0
        short.append((above, sum(-min(float(m[0]), 0.0) for m in row.margins.values()
                                 if not np.isnan(m[0]))))
    assert short == sorted(short) and short[0][1] > 0 and not short[0][0] and short[-1][0]


def test_no_layout_fits_is_an_answer():
    study = list_layouts(asked(inverter__voltage_range="700 V to 720 V",
                               inverter__absolute_maximum=None, inverter__full_power_from=None))
    assert len(study) == 0 and study.misses and study.tried == 112
    assert [len(part) for part in study.order] == [0, 0]


def test_nothing_that_can_be_tried_gives_no_misses_but_the_reason():
    study = list_layouts(asked([{"label": "24s 46 Ah LTO", "count": 10}]))
    assert (len(study), study.misses, study.tried) == (0, (), 0)
    assert "bench measurement" in study.refusals[0]


def test_what_lacks_a_figure_is_said_not_to_be_evaluated():
    study = list_layouts(asked([module(peak_current=None, continuous_current=None)],
                               charger__voltage_range=None))
    assert [words.partition(":")[0] for words in study.not_evaluated] == [
        "peak current of invented 12s 100 Ah", "continuous current of invented 12s 100 Ah",
        "charger's voltage window"]
    assert list_layouts(asked()).not_evaluated == ()


def test_a_bare_label_is_enough_for_a_first_answer():
    study = list_layouts(asked([{"label": "12s 160 Ah NMC", "count": 16}]))
    assert study.tried > 0
    assert len(study.not_evaluated) == 2


def test_large_counts_and_zero_fitting_stay_quick_and_bounded():
    study = list_layouts(asked([module(count=100000)]), most_series=40, most_parallel=50)
    assert study.tried == 40 * (50 + 49)


def test_a_study_is_the_same_twice():
    first, second = (list_layouts(asked([module(), OTHER], mix="series")) for _ in range(2))
    assert labels(first) == labels(second)
    assert [m.sentence for m in first.misses] == [m.sentence for m in second.misses]


def test_misses_are_worked_out_where_they_are_asked_and_by_the_brief_they_missed(monkeypatch):
    told, bare = [], study_module.explain

    def explain(brief, *rest):
        told.append(brief)
        return bare(brief, *rest)
    monkeypatch.setattr(study_module, "explain", explain)
    study = list_layouts(asked())
    study_protection(asked())
    assert not told  # to size a layout that fits asks for no miss
    later = replace(study, brief=asked(power__peak="400 kW"))
    assert later.misses is study.misses and len(told) == len(study.misses) == MOST_MISSES
    assert {id(brief) for brief in told} == {id(study.brief)}
    assert study.near.layouts == tuple(m.layout for m in study.misses)


# --- naming a layout ------------------------------------------------------------------

def test_small_letters_count_cells():
    with pytest.raises(UserError, match="small letters count cells"):
        find_layout(asked(), "84s2p")


def test_a_layout_is_named_in_module_notation():
    assert find_layout(asked(), "8S2P") == Layout((Part(0, 8),), 2, "grouped")
    assert find_layout(asked(), " 8S2P ", "strings") == Layout((Part(0, 8),), 2, "strings")
    # One string alone is no arrangement of its own.
    assert find_layout(asked(), "8S1P", "strings").arrangement == "grouped"
    assert find_layout(asked(arrangement="strings"), "8S2P").arrangement == "strings"
    assert find_layout(asked([module(), OTHER]), "8S1P", module=1).parts == (Part(1, 8),)


def test_two_types_are_named_by_their_entries():
    brief = asked([module(), OTHER, module(id="c", title="third")], mix="series")
    assert find_layout(brief, "5S+3S1P").parts == (Part(0, 5), Part(1, 3))
    assert find_layout(brief, "5S+3S1P", module=1).parts == (Part(1, 5), Part(2, 3))
    assert find_layout(brief, "5S+3S1P", module=(0, 2)).parts == (Part(0, 5), Part(2, 3))


def test_a_pair_side_by_side_is_named_after_the_entries():
    brief = asked([module(), OTHER], mix="parallel")
    assert find_layout(brief, "8S4P", module=2).parts == (Part(2, 8),)


@pytest.mark.parametrize("text, changes, reason", [
    ("8x2", {}, "is not module notation; write it like 16S2P"),
    ("8S2P" * 30, {}, "is not module notation"), ("", {}, "is not module notation"),
    ("0S1P", {}, "counts start at 1"), ("8S0P", {}, "counts start at 1"),
    ("8S3P", {}, "needs 24 modules of invented 12s 100 Ah, 20 on hand"),
    ("20S2P", {}, "needs 40 modules"),
    ("5S+3S1P", {}, "the brief has 1 module type(s)"),
    ("8S1P", {"module": 4}, "the brief has 1 module type(s)"),
])
def test_what_cannot_be_built_is_refused(text, changes, reason):
    with pytest.raises(UserError) as refused:
        find_layout(asked(), text, **changes)
    assert reason in str(refused.value)


@pytest.mark.parametrize("modules, mix, text, reason", [
    ([module(), OTHER], "no", "5S+3S1P", 'does not say mix = "series"'),
    ([module(), module(id="b", peak_current=None)], "series", "5S+3S1P",
     "peak current limit of invented 12s 100 Ah is not known"),
    ([{"label": "24s 46 Ah LTO", "count": 10}], "no", "5S1P", "bench measurement"),
    ([module(), OTHER], "series", "5S+13S1P", "needs 13 modules of the other, 12 on hand"),
])
def test_a_refused_type_or_pair_is_not_built_by_name_either(modules, mix, text, reason):
    with pytest.raises(UserError, match="layout") as refused:
        find_layout(asked(modules, mix=mix), text)
    assert reason in str(refused.value)


def test_an_unknown_arrangement_names_the_near_one():
    with pytest.raises(UnknownName, match="strings"):
        find_layout(asked(), "8S2P", "string")

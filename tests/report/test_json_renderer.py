"""JSON: stable keys, numbers as numbers, chains whole."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from packcalc import __version__
from packcalc.errors import ProgramFault
from packcalc.report.data import plain
from packcalc.report.document import Cell, Chain, Column, Document, Section, Table
from packcalc.report.render import render
from tests.report import sample

DATA = json.loads(render(sample.document(), "json"))


def test_head_is_version_then_cautions() -> None:
    assert list(DATA)[:6] == ["packcalc", "title", "subtitle", "cautions", "deference", "meta"]
    assert DATA["packcalc"] == __version__


def test_table_is_a_list_of_rows_by_column_key() -> None:
    row = DATA["layouts"][0]
    assert row["layout"] == "16S1P"
    assert row["highest_V"] == 403.2
    assert len(DATA["layouts"]) == 12
    assert DATA["captions"]["layouts"] == "Layouts that fit, best first"


def test_facts_bullets_figures_and_paragraphs_are_there() -> None:
    assert DATA["summary"]["highest_V"] == 403.2
    assert DATA["open_items"][1].startswith("lowest breaking current")
    assert DATA["figures"]["volts_figure"]["data"] == "volts"
    assert DATA["volts"][1] == {"edge": "highest", "V": 430.0}
    assert {"section": "first", "kind": "caution",
            "text": "Nobody clears a fault between the pack and the main fuse."
            } in DATA["paragraphs"]


def test_finding_has_value_in_its_unit_and_in_si() -> None:
    fault = DATA["findings"]["faults.highest"]
    assert (fault["value"], fault["unit"], fault["value_SI"]) == (6.0, "kA", 6000.0)
    assert fault["formula"]["text"] == "I_k = U_pack / (1000 · R_pack)"
    assert fault["inputs"] == ["pack.highest_voltage", "pack-resistance-initial"]
    assert (fault["basis"], fault["weakest_basis"]) == ("common practice", "assumed")
    assert fault["source"] == "packcalc-rule"
    assert fault["governing"] == "hot, full, new"


def test_every_input_of_every_finding_is_a_finding() -> None:
    found = DATA["findings"]
    assert all(name in found for item in found.values() for name in item["inputs"])
    assert list(found) == sorted(found)


def test_leaf_says_where_it_comes_from() -> None:
    assert DATA["findings"]["modules-in-series"]["origin"] == {
        "file": "brief.toml", "line": 12, "key": "layout", "text": '"16S1P"'}


def test_unknown_is_null() -> None:
    assert DATA["findings"]["link.capacitance"]["value"] is None
    assert DATA["fuse_checks"][0]["figure_A"] is None


@pytest.mark.parametrize(("value", "found"), [
    (math.nan, None), (math.inf, None), (-math.inf, None), (np.float64(1.5), 1.5),
    (np.int64(3), 3), (np.bool_(True), True), (0.1 + 0.2, 0.3), ("–", None), (None, None),
    ((1, math.nan), [1, None]), ({1: 2}, {"1": 2}), (True, True)])
def test_plain(value: object, found: object) -> None:
    assert plain(value) == found
    assert type(plain(value)) is type(found)


@pytest.mark.parametrize("key", ["findings", "packcalc", "layouts"])
def test_a_key_used_twice_is_a_fault_of_the_program(key: str) -> None:
    twice = Table(key, "Caption", (Column("a", "A"),), ((Cell("1"),),))
    base = sample.document()
    with pytest.raises(ProgramFault, match=f"{key!r} twice"):
        render(replace(base, sections=(*base.sections, Section("x", "X", (twice,)))), "json")


def test_two_chains_of_one_key_are_a_fault_of_the_program() -> None:
    finding = sample.findings()["faults.highest"]
    chains = Section("c", "C", (Chain("k", finding), Chain("k", finding)))
    with pytest.raises(ProgramFault, match="share a key: k"):
        render(Document("T", "", (), (), "", (chains,)), "json")

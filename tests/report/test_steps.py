"""Steps and sources of a document."""

from __future__ import annotations

from dataclasses import replace

from packcalc.findings import leaf
from packcalc.report.citations import sources_table, sources_used, with_sources
from packcalc.report.document import Cell, Chain, Column, Document, Section, Table
from packcalc.report.steps import ground, slug, steps
from tests.report import sample


def document(*blocks: object) -> Document:
    return Document("T", "", (), (), "", (Section("s", "S", blocks),))


def test_equal_findings_are_one_step() -> None:
    first, second = sample.findings(), sample.findings()
    found = steps(document(Chain("a", first["faults.highest"]),
                           Chain("b", second["pack.loaded_voltage"])))
    assert sum(s.finding.title == "pack resistance, initial" for s in found.values()) == 1
    assert found["pack-resistance-initial"].uses == 2


def test_same_title_other_value_is_another_step() -> None:
    found = steps(document(Chain("a", sample.apply(
        sample.SERIES, "sum", leaf("count", "S", "", 2, "given"),
        leaf("count", "S", "", 3, "given")))))
    assert list(found) == ["count", "count-2", "a"]


def test_chain_keys_win_over_names_made_from_titles() -> None:
    inner = leaf("voltage", "U", "V", 3.0, "given")
    found = steps(document(Chain("outer", sample.apply(sample.SERIES, "x", inner, inner)),
                           Chain("voltage", leaf("other", "U", "V", 4.0, "given"))))
    assert set(found) == {"outer", "voltage-2", "voltage"}


def test_one_finding_under_two_keys_has_both() -> None:
    one = sample.findings()["faults.highest"]
    again = sample.findings()["faults.highest"]
    found = steps(document(Chain("a", one), Chain("b", one), Chain("c", again)))
    assert {"a", "b", "c"} <= set(found)
    assert found["a"].inputs == found["b"].inputs == found["c"].inputs


def test_weakest_ground_is_that_of_the_finding() -> None:
    for key, finding in sample.findings().items():
        assert steps(document(Chain(key, finding)))[key].weakest == finding.weakest


def test_ground_names_the_weakest_only_when_it_differs() -> None:
    found = steps(sample.document())
    assert ground(found["faults.highest"]) == "common practice; the chain rests on: assumed"
    assert ground(found["link.capacitance"]) == "given"


def test_deep_sharing_takes_no_exponential_time() -> None:
    node = leaf("start", "U", "V", 1.0, "given")
    for level in range(60):
        node = sample.apply(sample.SERIES, f"level {level}", leaf("S", "S", "", 1, "given"), node)
        node = replace(node, inputs=(node.inputs[1], node.inputs[1]))
    assert len(steps(document(Chain("deep", node)))) == 61


def test_slug() -> None:
    assert slug("Pack voltage, U_max (full)") == "pack-voltage-u-max-full"
    assert slug("Ω") == "step"


def test_sources_of_chains_and_tables_are_found() -> None:
    table = Table("t", "C", (Column("a", "A"), Column("source", "Source")),
                  ((Cell("x"), Cell("packcalc-rule")), (Cell("y"), Cell("–"))))
    assert [s.key for s in sources_used(document(table))] == ["packcalc-rule"]
    assert [s.key for s in sources_used(sample.document())] == ["packcalc-rule"]


def test_source_that_is_not_registered_says_so() -> None:
    own = document(Chain("a", leaf("x", "U", "V", 1.0, "measured", source="my own notebook")))
    (found,) = sources_used(own)
    assert found.key == "my own notebook"
    assert "not in the register" in found.seen


def test_list_of_sources_is_added_once() -> None:
    once = with_sources(sample.document())
    assert once.sections[-1].key == "sources"
    assert with_sources(once) is once
    assert sources_table(once).rows == once.sections[-1].blocks[0].rows


def test_document_without_sources_gets_no_list() -> None:
    bare = document()
    assert with_sources(bare) is bare

"""Each figure beside a tag is what the bill asks of that part; what stands there is no demand."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import pytest

from packcalc.findings import Finding
from packcalc.handover.bill import bill
from packcalc.part_checks.shown import rounded
from packcalc.protection import ProtectionStudy
from packcalc.report.drawings.circuit import Part, circuit_of
from packcalc.report.drawings.one_line import one_line_figure
from tests.cases.studies import study

pytestmark = pytest.mark.thorough

SVG = "{http://www.w3.org/2000/svg}"
PRECHARGE = "pre-charge wires"
CASES = {
    "truck": ("truck", {}), "van": ("van", {}), "minibus": ("minibus", {}),
    "faulty": ("faulty", {}),
    "fuse in the middle of each string": ("minibus", {"pack__fuse_after": 6}),
    "no part named": ("truck", {"parts__mid_fuse": None, "parts__charge_contactor": None}),
    "more charging than driving": ("minibus", {"charger__power": "90 kW"}),
}
AMPERES = r"([\d.e+]+ A)"
# What the bill says of a part, by its line: (of what it carries, of what it breaks).
FUSE = (rf"Rated current: \D*{AMPERES}", rf"Breaking capacity, DC: above {AMPERES}")
BRANCH = (rf"continuous current in the box's air: at least {AMPERES}",
          rf"DC breaking capacity: at least {AMPERES}")
CONTACTOR = (rf"carries: {AMPERES} continuously",
             rf"breaks: {AMPERES} discharging and {AMPERES} charging")
RELAY = (rf"relay: carries: {AMPERES}", rf"relay: breaks: {AMPERES}")
CHARGING = (rf"carries: {AMPERES} at",
            rf"breaks: (?:at least )?{AMPERES} discharging and {AMPERES} charging")
RESISTOR = (rf"relay: carries: {AMPERES}", "$^")
DISCONNECT = (rf"carries: {AMPERES} continuously", "$^")


def sized(case: str) -> ProtectionStudy:
    name, changes = CASES[case]
    return study(name, **changes)


def bought_as(part: Part, branches: list[str]) -> tuple[str, tuple[str, str]] | None:
    """Key of the bill's line of a part, and where its figures stand; None where none is bought."""
    fixed = {"main fuse": ("main_fuse", FUSE), "fuse inside the string": ("inside_fuse", FUSE),
             "string fuse": ("string_fuse", FUSE), "pre-charge relay": ("precharge", RELAY),
             "pre-charge resistor": ("precharge", RESISTOR),
             "service disconnect": ("disconnect", DISCONNECT)}
    if part.name in fixed:
        return fixed[part.name]
    if part.name.startswith("charge contactor"):
        return "charge_contactors", CHARGING
    if part.kind == "contactor":
        return "contactors", CONTACTOR
    return next(((f"branch.{b}", BRANCH) for b in branches
                 if part.name.removeprefix("fuse of ").startswith(b)), None)


def told(finding: Finding) -> set[str]:
    return {finding.shown, rounded(finding, True)}


@pytest.mark.parametrize("case", CASES)
def test_each_figure_beside_a_tag_is_what_the_bill_asks(case: str) -> None:
    found = sized(case)
    lines = {line.key: line.demand for line in bill(found)}
    branches = [b.name for b in found.brief.branch]
    held = 0
    for part in circuit_of(found).parts:
        line = bought_as(part, branches)
        if line is None:
            assert part.kind in ("battery", "resistor", "capacitor", "inverter", "management",
                                 "monitor", "inlet", "load")
            continue
        key, patterns = line
        for figure, pattern in zip((part.current, part.breaking), patterns, strict=True):
            asked = re.search(pattern, lines[key])
            if part.kind not in ("fuse", "contactor") and pattern is patterns[1]:
                assert figure is None
            elif asked is None:
                assert figure is None or not figure.known, (part.tag, lines[key])
            else:
                # Of both directions the worse counts.
                most = max(asked.groups(), key=lambda words: float(words.split()[0]))
                assert figure is not None and most in told(figure), (part.tag, figure.shown, most)
                held += 1
    assert held >= 12


def test_a_string_fuse_is_asked_for_its_peaks_and_every_source() -> None:
    """Neither the string's steady current nor the other strings alone rate it."""
    found = study("minibus")
    (fuse,) = [p for p in circuit_of(found).parts if p.tag == "F2.1"]
    asked = next(i for i in found.items if i.key == "string_fuse").duty
    steady = next(i for i in found.items if i.key == "strings").duty
    assert fuse.current is asked[0] and fuse.breaking is asked[3]
    assert fuse.current.number > 1.5 * next(
        f.number for f in steady if f.title.startswith("continuous current of a string"))
    assert fuse.breaking.number > next(
        f.number for f in steady if f.title.startswith("highest fault current from all other"))
    drawn = one_line_figure(found)
    for said in (texts(drawn.svg), drawn.text):
        assert f"rated at least {fuse.current.shown}" in said
        assert f"breaks {fuse.breaking.shown}" in said


def test_the_fuse_in_the_middle_of_the_truck_shows_its_rating() -> None:
    (fuse,) = [p for p in circuit_of(study("truck")).parts if p.name == "fuse inside the string"]
    assert f"rated at least {fuse.current.shown}" in texts(one_line_figure(study("truck")).svg)


def texts(svg: str) -> str:
    return " ".join("".join(t.itertext()) for t in ElementTree.fromstring(svg).iter(f"{SVG}text"))


@pytest.mark.parametrize("name", ["minibus", "truck"])
def test_a_stated_rating_is_told_as_stated_and_never_as_a_demand(name: str) -> None:
    # 100 A on 1.5 mm² is what the brief says is there; nothing asks for it.
    found = study(name, branch={PRECHARGE: {
        "fuse_rating": "100 A", "fuse_part": "unknown", "section": "1.5 mm²"}})
    drawn = one_line_figure(found)
    words = texts(drawn.svg)
    assert "at least 100" not in f"{words} {drawn.text}" and "100 A" in words
    rows = [row for row in drawn.data.rows if row[1].text == f"fuse of {PRECHARGE}"]
    assert len(rows) == 2
    for row in rows:
        assert row[3].value < 10 and "rated 100 A by the brief" in row[6].text


@pytest.mark.parametrize("poles", ["one", "both"])
def test_pre_charge_of_a_string_runs_from_the_node_to_the_bus(poles: str) -> None:
    """With one fuse only, it must be drawn where the parts list has it: at the tap."""
    found = study("minibus", branch={PRECHARGE: {"fused_poles": poles}})
    circuit, root = circuit_of(found), ElementTree.fromstring(one_line_figure(found).svg)
    at = {"".join(t.itertext()): float(t.get("x")) for t in root.iter(f"{SVG}text")
          if t.get("font-weight") == "700"}
    path = circuit.precharge
    assert len(path) == {"one": 3, "both": 4}[poles]
    assert path[0].kind == "fuse" and path[0].place.endswith("at the tap")
    # From the bus on the left past K1.1 to the node: the last part stands at the bus.
    assert at["K1.1"] < at["F2.1"]
    places = [at[p.tag] for p in path]
    assert places == sorted(places, reverse=True)

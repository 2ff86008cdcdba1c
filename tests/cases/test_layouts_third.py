"""Faults of the layouts found in use; the modules are invented, the arithmetic is here."""

from __future__ import annotations

import copy
import functools
import math
import random
import re

import pytest
from packcalc.api import size_protection
from packcalc.brief import Brief
from packcalc.catalogue import all_formulas
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, STAGES, judge
from packcalc.errors import InputErrors, OutOfRange, UnknownName, UserError
from packcalc.findings import Finding, Formula, Origin, leaf, worked
from packcalc.layouts import Layout, Part, asks_of
from packcalc.misses import explain
from packcalc.next_steps import find_next, headlines
from packcalc.pack import model_pack
from packcalc.protection import ProtectionStudy
from packcalc.reading.brief_file import brief_from_data
from packcalc.reading.library import classes, ids, record
from packcalc.reading.modules import module_from_entries
from packcalc.reading.what_if import with_value
from packcalc.report.formulas_report import formula_document
from packcalc.report.layouts_report import layouts_document
from packcalc.report.library_report import document_of, record_document
from packcalc.report.render import render
from packcalc.screening import screen_one
from packcalc.study import list_layouts
from packcalc.units import from_si, into_si

from tests.briefs import asked, module
from tests.cases.test_protection_engineer import study

ONE = Layout((Part(0, 8),), 1, "grouped")


# --- where full power ends is open: the loaded voltage 10 % higher, every current at the lowest

# 60 kW at 260 V is 230.8 A; a module of 80 % health bears 0.8 times its label.
@pytest.mark.parametrize(("label", "passes"), [("289 A", True), ("288 A", False)])
def test_a_module_is_held_against_the_current_at_the_lowest_voltage(label, passes):
    brief = asked([module(peak_current=label)], inverter__full_power_from="unknown")
    row = screen_one(brief, asks_of(brief), ONE)
    margin = float(row.margins["peak_current"][0])
    assert margin == pytest.approx(0.8 * float(label.split()[0]) * 260.0 / 60e3 - 1.0)
    assert (margin >= 0) is passes
    if not passes:
        words = explain(brief, asks_of(brief), row, 0).fails
        assert "asks 230.8 A of each module at the peak, drawn at 260 V" in words


def test_every_place_counts_the_same_peak_current_while_full_power_from_is_open():
    brief = asked(inverter__full_power_from="unknown")
    found = list_layouts(brief)
    document = layouts_document(found)
    table = next(b for b in document.sections[0].blocks if getattr(b, "key", "") == "layouts")
    at = [c.key for c in table.columns].index("peak_current_A")
    pack = model_pack(brief, found.layout(0))
    expected = 60e3 / 260.0
    assert table.rows[0][at].value == pytest.approx(expected, abs=0.05)
    assert pack.peak_current.number == pytest.approx(expected)
    assert headlines(brief, found.layout(0))["peak_current"] == pytest.approx(expected)
    # the charge of the peak goes by the same voltage, the sag by 10 % more
    drawn = expected * 10.0 / pack.capacity.number
    assert pack.charge_left.number == pytest.approx(0.10 - drawn)
    assert found.row(0)["charge_left"] == pytest.approx(pack.charge_left.number)
    assert pack.demand_voltage.number == pytest.approx(1.1 * 260.0)
    told = [b.text for b in document.sections[0].blocks if type(b).__name__ == "Paragraph"]
    assert any("inverter.full_power_from is open" in words for words in told)


def test_a_given_full_power_from_is_where_the_peak_is_drawn():
    brief = asked()
    assert asks_of(brief).peak_voltage == asks_of(brief).demand_voltage == 280.0
    told = [b.text for b in layouts_document(list_layouts(brief)).sections[0].blocks
            if type(b).__name__ == "Paragraph"]
    assert not any("full_power_from" in words for words in told)


# --- a highest voltage that is only the least it can be is never the ground of a pass -----------

OPEN_CHAIN = {"inverter__absolute_maximum": None, "charger__voltage_range": None,
              "inverter__overvoltage_reaction": "unknown"}


@functools.cache
def truck(bounded: bool) -> ProtectionStudy:
    known = {"inverter__absolute_maximum": "450 V"} if bounded else {}
    return study("truck", **(OPEN_CHAIN | known))


def voltage_checks(found: ProtectionStudy):
    """Every check that holds a rating against the highest working voltage, without fails."""
    every = [*(c for _, c in found.checks),
             *(c for i in found.items for one in i.own_parts for c in one.checks)]
    return [c for c in every if c.demand is not None and c.verdict in (PASS, CAUTION)
            and c.demand.title == "highest working voltage"]


def test_a_pass_against_a_voltage_that_may_be_more_is_a_caution_with_the_reason():
    found = voltage_checks(truck(bounded=False))
    assert {"Fuse: rated DC voltage above the highest working voltage",
            "one pole rated above the highest working voltage",
            "Insulation for the whole pack's voltage"} <= {c.title for c in found}
    assert {c.verdict for c in found} == {CAUTION}
    for check in found:
        assert "not evaluated: contactors open under charge" in check.reason
        assert check.remedy or check.title.endswith("meets its duty")


def test_the_inverters_absolute_maximum_bounds_what_is_open():
    found = [c for c in voltage_checks(truck(bounded=True)) if c.title.startswith("Fuse: rated DC")]
    assert found and {c.verdict for c in found} == {PASS}


def test_what_follows_from_a_voltage_that_may_be_more_is_no_pass_either():
    checks = [c for _, c in truck(bounded=False).checks if "reach the isolation" in c.title]
    assert [c.verdict for c in checks] == [NOT_EVALUATED]
    assert "highest working voltage" in checks[0].reason


def leaf_of(value: float, note: str = "") -> Finding:
    return leaf("voltage", "U", "V", value, "given", note=note)


# At least 400 V: 401 V is not shown to be enough, 399 V is short whatever the true value is.
@pytest.mark.parametrize(("figure", "relation", "demand", "expected"), [
    (leaf_of(401.0), "at least", leaf_of(400.0, "at least this; x"), CAUTION),
    (leaf_of(401.0), "above", leaf_of(400.0, "at least this; x"), CAUTION),
    (leaf_of(399.0), "at least", leaf_of(400.0, "at least this; x"), FAIL),
    (leaf_of(401.0, "at least this; x"), "at least", leaf_of(400.0), PASS),
    (leaf_of(399.0, "at least this; x"), "at most", leaf_of(400.0), CAUTION),
    (leaf_of(399.0), "at most", leaf_of(400.0, "at least this; x"), PASS),
    (leaf_of(401.0), "at least", leaf_of(400.0), PASS)])
def test_the_door_of_all_checks_knows_which_side_is_open(figure, relation, demand, expected):
    check = judge("asked", STAGES[0], figure, relation, demand)
    assert check.verdict == expected
    assert (check.reason == "at least this; x") is (expected == CAUTION)


# --- several types of modules, of which one is not known ------------------------------------

def of_types(*types: dict) -> Brief:
    return asked(list(types))


UNTYPED = {"label": "unknown", "count": 10}


def labels(brief: Brief) -> list[str]:
    found = list_layouts(brief)
    return [found.layout(rank).label for rank in range(len(found))]


@pytest.mark.parametrize("at", [0, 1])
def test_a_type_that_nobody_knows_leaves_the_others_to_be_tried(at):
    types = [module()]
    types.insert(at, UNTYPED)
    brief = of_types(*types)
    assert labels(brief) == labels(of_types(module())) != []
    study_ = list_layouts(brief)
    assert f"modules[{at}].label is open" in study_.refusals[0]
    steps = find_next(brief, study_.layout(0))
    assert steps[0].unknown.dotted == f"modules[{at}].label"
    # what is open of the known type keeps the number that it has in the file
    health = [module(state_of_health="unknown")]
    health.insert(at, UNTYPED)
    brief = of_types(*health)
    known = f"modules[{1 - at}].state_of_health"
    step = next(s for s in find_next(brief, study_.layout(0)) if s.unknown.dotted == known)
    assert step.swing > 0
    assert with_value(brief, known, 0.9).modules[0].state_of_health.number == 0.9
    assert known in dict(brief.entries())
    with pytest.raises(UnknownName):
        with_value(brief, f"modules[{at}].state_of_health", 0.9)


@pytest.mark.parametrize("mix", ["no", "series", "parallel"])
def test_a_type_that_nobody_counted_leaves_the_others_to_be_tried(mix):
    brief = asked([module(), module(id="invented-2", count="unknown")], mix=mix)
    assert labels(brief) == labels(of_types(module()))
    assert any("nobody said how many" in words for words in list_layouts(brief).refusals)


def test_a_type_is_named_by_its_number_in_the_file():
    brief = of_types(UNTYPED, module())
    assert size_protection(brief, "8S1P", module=2).layout.parts == (Part(0, 8),)
    with pytest.raises(OutOfRange, match="does not say which module"):
        size_protection(brief, "8S1P", module=1)
    with pytest.raises(OutOfRange, match="the brief has 2"):
        size_protection(brief, "8S1P", module=3)


def test_nothing_is_tried_where_no_type_is_known():
    assert list_layouts(of_types(UNTYPED)).asks is None
    assert list_layouts(of_types(module(count="unknown"), UNTYPED)).asks is None


# --- slips of the pen: one line each, with what would be right ------------------------------

FIRST = {"modules": [{"label": "6s 240 Ah NMC", "count": 18}],
         "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}}


def faults_of(data: dict) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        brief_from_data(data)
    return [f"{fault.key}: {fault.wrong}; {fault.right}" for fault in caught.value.faults]


def renamed(section: str, old: str, new: str) -> dict:
    data = copy.deepcopy(FIRST)
    table = data[section][0] if section == "modules" else data[section]
    table[new] = table.pop(old)
    return data


@pytest.mark.parametrize(("section", "old", "new"), [
    ("modules", "count", "cuont"), ("modules", "label", "lable"),
    ("inverter", "voltage_range", "voltage_rnage"), ("power", "peak", "paek")])
def test_a_misspelt_key_that_must_be_there_is_told_once(section, old, new):
    (line,) = faults_of(renamed(section, old, new))
    assert f"{new}: unknown key; did you mean {old!r}?" in line


def test_what_else_is_wrong_beside_a_misspelt_key_is_still_told():
    data = renamed("modules", "count", "cuont")
    data["modules"].append({"chemstry": "NMC", "capacity": "200 kWh", "count": 4})
    told = faults_of(data)
    assert sorted(words.partition(":")[0].rpartition(".")[2] for words in told) == [
        "capacity", "cells_in_series", "chemstry", "cuont"]
    # The right key stands there too: then its own fault is told as well.
    data = copy.deepcopy(FIRST)
    data["modules"][0] |= {"cuont": 18, "count": "many"}
    assert len(faults_of(data)) == 2


def test_a_record_of_ones_own_with_a_misspelt_key_is_told_once():
    with pytest.raises(InputErrors) as caught:
        module_from_entries({"chemstry": "NMC", "cells_in_series": 6, "capacity": "200 Ah"},
                            lambda key: Origin("own.toml", 1, key))
    assert [fault.key for fault in caught.value.faults] == ["chemstry"]


# 110 W in place of 110 kW: no vehicle with a pack above 60 V asks so little (our bounds). Written
# in kW it is meant so, and a scooter of 48 V is not asked.
@pytest.mark.parametrize(("section", "key", "slip", "meant", "least"), [
    ("power", "peak", "110 W", "110 kW", "1 kW"),
    ("power", "continuous", "60 W", "60 kW", "0.3 kW"),
    ("regeneration", "power", "40 W", "40 kW", "0.3 kW"),
    ("charger", "power", "50 W", "50 kW", "0.4 kW"),
    ("battery", "energy_least", "60 Wh", "60 kWh", "1 kWh"),
    ("battery", "energy_most", "100 Wh", "100 kWh", "1 kWh")])
def test_a_lost_thousand_is_asked_about(section, key, slip, meant, least):
    def given(text: str) -> dict:
        data = copy.deepcopy(FIRST)
        data.setdefault(section, {})[key] = text
        return data

    (line,) = faults_of(given(slip))
    assert f"{slip} is odd for" in line and f"did you mean {meant}?" in line
    number, unit = least.split()
    short = f"{999 * float(number):.5g} {unit.removeprefix('k')}"
    assert len(faults_of(given(short))) == 1
    meant_so = given(line.rpartition("else write it as ")[2])
    scooter = given(slip) | {"inverter": {"voltage_range": "39 V to 60 V"}}
    for data in (meant_so, scooter):
        if key == "peak":  # the continuous power of so small a peak is open
            assert brief_from_data(data).power.peak.number == 110.0
        else:
            brief_from_data(data)
    if (section, key) == ("power", "peak"):  # the continuous power of a peak of 1 kW is 0.5 kW
        assert brief_from_data(given(least)).power.peak.number == 1000.0
    else:
        brief_from_data(given(least))


def test_no_braking_at_all_stays_an_answer():
    data = FIRST | {"regeneration": {"power": "0 kW"}}
    assert brief_from_data(data).regeneration.power.number == 0.0


# --- printed rules are worked literally, as on a pocket calculator --------------------------

# Rules in several lines or with a condition, which this small reader does not take apart.
IN_SEVERAL_LINES = {"closing_peak", "loaded_charging_time"}
RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
SIGNS = {"·": "*", "×": "*", "−": "-", "½": "0.5", "√": "sqrt", "⌈": "ceil(", "⌉": ")",
         "⌊": "floor(", "⌋": ")", ";": ",", "^": "**", " s/h": ""}
CALCULATOR = {"sqrt": math.sqrt, "ln": math.log, "log10": math.log10, "lg": math.log10,
              "max": max, "min": min, "abs": abs, "ceil": math.ceil, "floor": math.floor,
              "exp": math.exp, "e": math.e, "π": math.pi}


def keyed_in(text: str, numbers: dict[str, float]) -> float:
    """The right side of a rule with numbers for its symbols, nothing converted on the way."""
    head, *more = re.split(r", (?=\w+ = )", text.partition(" = ")[2])
    for line in more:  # "n_1 = min(N_1, N)" beside the rule
        name = line.partition(" = ")[0]
        numbers = numbers | {name: keyed_in(line, numbers)}
    body = re.sub(r" \([^()]*(Hz|mΩ)[^()]*\)$", "", head)  # "(µH / mΩ = ms)" tells the units
    names = {}
    for index, symbol in enumerate(sorted(numbers, key=len, reverse=True)):
        names[f"_{index}_"] = numbers[symbol]
        body = re.sub(rf"(?<!\w){re.escape(symbol)}(?![^\W⁰¹²³⁴⁵⁶⁷⁸⁹⁻])", f"(_{index}_)", body)
    body = re.sub("([⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+)", lambda m: f"**({m[1].translate(RAISED)})", body)
    body = re.sub(r"\|([^|]*)\|", r"abs(\1)", body)
    for sign, plain in SIGNS.items():
        body = body.replace(sign, plain)
    body = re.sub(r"sqrt ?([\d.]+)", r"sqrt(\1)", body)
    return float(eval(body.strip(), {"__builtins__": {}}, CALCULATOR | names))  # our own texts


def of_unit(unit: str, draw: random.Random) -> float:
    plain = draw.uniform(0.2, 1.0) if unit == "" and draw.random() < 0.5 else draw.uniform(1.5, 9)
    return {"%": draw.uniform(5, 95), "°C": draw.uniform(30, 80)}.get(unit, plain)


def worked_cases(formula: Formula, draw: random.Random) -> list[tuple[float, float]]:
    """(as the text says, as the function says) in the printed unit, wherever both answer."""
    found = []
    for _ in range(40):
        drawn = [of_unit(i.unit, draw) for i in formula.inputs]
        try:
            right = float(from_si(float(formula.function(*(
                into_si(v, i.unit) for v, i in zip(drawn, formula.inputs)))), formula.unit))
            text = keyed_in(formula.text, dict(zip((i.symbol for i in formula.inputs), drawn)))
        except (ValueError, ZeroDivisionError, OverflowError, UserError):
            continue
        if math.isfinite(right):
            found.append((text, right))
    return found


@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # roots of what no pack can be
@pytest.mark.parametrize("name", sorted(set(all_formulas()) - IN_SEVERAL_LINES))
def test_the_printed_rule_in_printed_units_is_what_is_computed(name):
    cases = worked_cases(all_formulas()[name], random.Random(name))
    assert cases
    for text, right in cases:
        assert text == pytest.approx(right, rel=1e-9, abs=1e-12)


def printed_number(shown: str) -> float:
    return float(shown.split(" ")[0])


def test_the_chains_of_the_truck_are_reproduced_from_what_they_print():
    """The numbers as printed, keyed into the rule as printed, give the printed result."""
    found = truck(bounded=True)
    chains = {id(n): n for item in found.items for f in item.duty if f.known for n in f.walk()
              if n.formula and n.known and math.isfinite(n.number)
              and n.formula.name not in IN_SEVERAL_LINES}
    assert len(chains) > 100
    assert sum(any(i.unit == "%" for i in n.formula.inputs) for n in chains.values()) > 20
    for finding in chains.values():
        numbers = {}
        for given in re.split(r", (?=\S+ = )", worked(finding)):
            symbol, _, shown = given.partition(" = ")
            numbers[symbol] = printed_number(shown)
        unit = finding.formula.unit
        result = into_si(keyed_in(finding.formula.text, numbers), unit)
        again = from_si(result, finding.unit)
        printed = from_si(finding.number, finding.unit)
        assert again == pytest.approx(printed, rel=6e-4, abs=1e-9), (
            finding.title, finding.formula.text, worked(finding), finding.shown)


# --- what a page says once -------------------------------------------------------------------

@pytest.mark.parametrize("name", [*ids(), "NMC", "LFP", "NCA", "LMO", "LTO"])
def test_the_library_says_a_paragraph_once(name):
    words = " ".join(render(document_of(name), "markdown").split())
    notes = {f.note for f in record(name).assumptions} if name in ids() else {
        note for _, _, note in classes()[name].notes}
    assert notes - {""}
    for note in filter(lambda n: len(n) > 60, notes):
        assert words.count(" ".join(note.split())) == 1, note


def test_a_label_alone_keeps_every_note_of_what_was_filled_in():
    own = module_from_entries({"label": "12s 160 Ah NMC"}, lambda key: Origin("own.toml", 1, key))
    words = " ".join(render(record_document(own), "markdown").split())
    notes = {f.note for f in own.assumptions if len(f.note) > 60}
    assert len(notes) > 1
    assert {words.count(" ".join(note.split())) for note in notes} == {1}


def test_a_worked_example_says_that_its_quantities_are_in_si():
    words = " ".join(render(formula_document("charge_left"), "text").split())
    assert "Every quantity of a call is in SI units" in words and "a charge in C" in words

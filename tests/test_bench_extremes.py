"""Either end of a bench sheet in the file: nobody dealt, a low reading, a type by its label.

Every brief and sheet is invented. Where no module may be dealt the worst measured one counts all
the same; a module that reads less resistance than a new one makes the highest fault higher.
"""

from __future__ import annotations

import csv
import functools
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from examples.regenerate import ROOT
from packcalc import api
from packcalc.bench.sheet import of_other_types
from packcalc.brief import Brief
from packcalc.checks import FAIL
from packcalc.layouts import Layout, Part
from packcalc.mixes import SideBySide, with_pairs
from packcalc.modules import traced_resistance_initial
from packcalc.pack import fault_side, model_pack
from packcalc.protection import ProtectionStudy
from packcalc.reading.bench_sheet import parse_sheet
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.library import record
from packcalc.worst_measured import Salvage, as_stated, with_worst
from tests.bench.rows import GOOD, lot_of
from tests.cli.runner import run

pytestmark = pytest.mark.thorough

Row = dict[str, str]


def times(factor: float) -> Callable[[Row], None]:
    """Every pulse resistance so many times as large; a decimal comma, as the sheet has it."""
    def change(row: Row) -> None:
        read = float(row["resistance_mohm"].replace(",", "."))
        row["resistance_mohm"] = f"{read * factor:.3f}".replace(".", ",")
    return change


def cell(column: str, text: str) -> Callable[[Row], None]:
    return lambda row: row.update({column: text})


def minibus_in(folder: Path, *changes: Callable[[Row], None]) -> Path:
    """The minibus with every row of its bench sheet changed."""
    own = ROOT / "examples/minibus"
    lines = (own / "bench.csv").read_text("utf-8").splitlines(keepends=True)
    notes = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(lines[len(notes):], delimiter=";"))
    for row in rows:
        for change in changes:
            change(row)
    with (folder / "bench.csv").open("w", encoding="utf-8", newline="") as file:
        file.writelines(notes)
        writer = csv.DictWriter(file, list(rows[0]), delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
    text = (own / "brief.toml").read_text("utf-8").replace("../parts", "parts")
    (folder / "parts.csv").write_bytes((ROOT / "examples/parts.csv").read_bytes())
    (folder / "brief.toml").write_text(text, "utf-8")
    return folder / "brief.toml"


def sized(*changes: Callable[[Row], None]) -> ProtectionStudy:
    with tempfile.TemporaryDirectory() as folder:
        return api.size_protection(read_brief(minibus_in(Path(folder), *changes)), "12S2P")


@functools.lru_cache(maxsize=None)
def shipped() -> ProtectionStudy:
    return sized()


@functools.lru_cache(maxsize=None)
def by_brief() -> ProtectionStudy:
    from packcalc.protection import study_protection

    return study_protection(read_brief(ROOT / "examples/minibus/brief.toml"), "12S2P")


# -- nobody dealt ------------------------------------------------------------------------------


def test_a_worse_lot_never_gives_a_milder_file() -> None:
    """1.2 times the resistance fails; twice as much, where nobody is kept, must not pass."""
    worse, worst = sized(times(1.2)), sized(times(2.0))
    assert worst.salvage.dealt is None and not worst.salvage.lot.of_grade("keep")
    assert worst.faults.lowest.number < worse.faults.lowest.number < shipped().faults.lowest.number
    assert worst.failing and worse.failing
    (counted,) = worst.brief.modules
    most = max(m.resistance_common.number for m in worst.salvage.lot.modules)
    assert counted.resistance_growth.number == pytest.approx(
        most / counted.module.resistance_high.number)
    assert worst.brief.counted.startswith(
        "Nobody could be dealt (0 good modules of nmc-16s-75ah for 24 places of 12S2P: 24 short): "
        "the worst of all 26 measured modules counts. Sized with the worst modules")


@pytest.mark.parametrize("columns", [
    ["insulation_Mohm"], ["first_voltage_V", "second_voltage_V", "first_date", "second_date"]])
def test_a_sheet_with_less_on_it_gives_no_milder_file(columns) -> None:
    found = sized(*(cell(column, "") for column in columns))
    assert found.salvage.dealt is None
    assert found.faults.lowest.number <= shipped().faults.lowest.number
    assert found.pack.usable_energy.number <= shipped().pack.usable_energy.number


def small() -> Brief:
    return brief_from_data({
        "modules": [{"record": "nmc-6s-240ah", "count": 18, "state_of_health": "90 %",
                     "resistance_growth": 1.2}],
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}}, "invented")


LAYOUT = Layout((Part(0, 16),), 1, "grouped")


def test_of_undecided_modules_the_worst_counts() -> None:
    lot = lot_of({**GOOD, "mark": "A1", "insulation_Mohm": ""},
                 {**GOOD, "mark": "A2", "insulation_Mohm": "", "resistance_mohm": "2.40"})
    assert {m.grade for m in lot.modules} == {"undecided"}
    found = with_worst(small(), LAYOUT, Salvage(lot, None, "b.csv: 0 good modules; 2 undecided"))
    assert found.modules[0].resistance_growth.number == pytest.approx(2.4 / 1.6, rel=0.01)
    assert "Nobody could be dealt (0 good modules): the worst of all 2 measured modules counts" in \
        found.counted


def test_what_is_not_measured_is_said() -> None:
    lot = lot_of({**GOOD, "resistance_mohm": "", "capacity_Ah": ""})
    found = with_worst(small(), LAYOUT, Salvage(lot, None))
    assert as_stated(found) is found
    assert "No resistance of the 1 module counts: the brief's own does." in found.counted
    assert "No capacity of the 1 module counts" in found.counted
    some = lot_of({**GOOD, "mark": "A1", "resistance_mohm": ""}, {**GOOD, "mark": "A2"})
    assert "The resistance of 1 of these 2 modules does not count: not measured" in with_worst(
        small(), LAYOUT, Salvage(some, None)).counted


# -- a low reading -----------------------------------------------------------------------------


def test_an_ac_reading_below_the_records_makes_the_highest_fault_higher() -> None:
    study = sized(cell("impedance_ac_mohm", "3,5"))
    module = study.brief.modules[0].module
    assert module.resistance_initial.number == 7.6e-3  # the record's 1 kHz figure (invented)
    # Twelve in series, two beside each other: E / (12 · 3.5 mΩ · b / 2), b of a hot cell.
    assert study.faults.highest.number == pytest.approx(
        study.pack.full_voltage.number / (12 * 3.5e-3 * module.cell.hot_ratio / 2))
    assert study.faults.highest.number > 2.0 * shipped().faults.highest.number
    for one, two in zip(study.circuit.places, shipped().circuit.places, strict=True):
        if two.highest.known:
            assert one.highest.number >= two.highest.number, one.title
    assert study.faults.lowest.number == shipped().faults.lowest.number
    assert "reads less than new, 3.500 mΩ (reading of an AC meter (another quantity)) where new " \
        "is 7.600 mΩ: the highest fault counts it for every module; measure it again" in \
        study.brief.counted
    notes = [f.note for f in study.faults.highest.walk()]
    assert any("reads less than new" in note and "measure it again" in note for note in notes)
    assert study.brief.digest != shipped().brief.digest


def test_a_breaking_capacity_is_held_to_it() -> None:
    """50 kA of the heater's fuse (invented): enough for the record's figure, not for this one."""
    asked = ("Branch: floor heater", "Fuse: breaking capacity at the highest fault")
    (low,) = [c for t, c in sized(cell("impedance_ac_mohm", "2,5")).checks
              if (t, c.title) == asked]
    (plain,) = [c for t, c in shipped().checks if (t, c.title) == asked]
    assert low.verdict == FAIL != plain.verdict
    # 810.4 V over 12 · 2.5 mΩ · 0.95 / 2 of the modules alone.
    assert low.demand.number > 810.4 / 14.25e-3 > 50e3 > plain.demand.number


@pytest.mark.parametrize("factor", [0.68, 0.5])
def test_a_pulse_below_the_records_counts_as_a_growth_below_one(factor) -> None:
    """At half of new the sheet asks about every row: what was read counts here all the same."""
    study = sized(times(factor))
    plain = by_brief()
    (counted,) = study.brief.modules
    low = counted.least_growth
    assert 0.9 * factor < low.number < factor < 1.0
    assert study.faults.highest.number == pytest.approx(plain.faults.highest.number / low.number)
    assert counted.resistance_growth.number == plain.brief.modules[0].resistance_growth.number
    assert study.faults.lowest.number <= plain.faults.lowest.number
    said = replace(plain.brief.modules[0], resistance_growth=replace(
        plain.brief.modules[0].resistance_growth, value=low.number))
    assert fault_side(said).number == pytest.approx(fault_side(counted).number)
    assert any("bench.csv" in str(f.origin) for f in study.faults.highest.walk() if f.origin)


def test_a_slip_of_the_unit_stays_out_and_is_asked() -> None:
    for column, text in (("impedance_ac_mohm", "0,0035"), ("resistance_mohm", "0,0095")):
        study = sized(cell(column, text))
        assert study.faults.highest.number <= shipped().faults.highest.number
        assert study.salvage.lot.questions
    lot = lot_of({**GOOD, "impedance_ac_mohm": "0"})
    assert [q.quantity for q in lot.questions] == ["impedance_ac"]
    assert as_stated(with_worst(small(), LAYOUT, Salvage(lot, None))).modules == small().modules


@pytest.mark.parametrize("blank", [
    {"resistance_temperature_degC": ""}, {"resistance_charge_percent": ""},
    {"resistance_pulse_s": ""}, {"resistance_temperature_degC": "70"}])
def test_what_cannot_be_corrected_counts_at_its_least_for_the_highest_fault(blank) -> None:
    """Rejected nowhere, ranked nowhere; but what it may mean is less than a new module's."""
    row = {**GOOD, "resistance_mohm": "1.45", **blank}
    lot = lot_of(row)
    assert not lot.modules[0].resistance_common.known
    found = with_worst(small(), LAYOUT, Salvage(lot, None))
    low = found.modules[0].least_growth
    assert low.number <= 1.45 / 1.6 * 1.0001  # of a new module (invented)
    assert model_pack(found, LAYOUT).resistance_initial.number == pytest.approx(
        low.number * model_pack(small(), LAYOUT).resistance_initial.number)
    assert "may read less than new" in found.counted
    asked = with_worst(small(), LAYOUT, Salvage(lot_of({**row, "resistance_mohm": "0.0019"}), None))
    assert "less than new" not in asked.counted


def test_a_reading_above_new_changes_nothing() -> None:
    lot = lot_of({**GOOD, "impedance_ac_mohm": "1.20"})  # 0.95 mΩ of the record (invented)
    found = with_worst(small(), LAYOUT, Salvage(lot, None))
    assert model_pack(found, LAYOUT).resistance_initial.number == \
        model_pack(small(), LAYOUT).resistance_initial.number
    assert "less than new" not in found.counted


def test_an_ac_reading_counts_as_it_is_where_the_label_alone_is_known() -> None:
    brief = brief_from_data({
        "modules": [{"label": "6s 240 Ah NMC", "count": 18, "resistance_growth": 0.9}],
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}}, "invented")
    module = brief.modules[0].module
    assert not module.resistance_initial.known
    new = 0.9 * traced_resistance_initial(module).number
    for share, counts in ((0.5, True), (1.1, False)):
        read = share * new / module.cell.hot_ratio
        lot = lot_of({**GOOD, "module": "6s 240 Ah NMC", "resistance_mohm": "",
                      "impedance_ac_mohm": f"{1e3 * read:.6f}"})
        lot = replace(lot, modules=tuple(replace(m, row=replace(m.row, module=module))
                                         for m in lot.modules))
        found = with_worst(brief, LAYOUT, Salvage(lot, None))
        assert fault_side(found.modules[0]).number == pytest.approx(
            share * new if counts else new, rel=1e-4)


def test_of_two_types_side_by_side_the_lower_reading_counts() -> None:
    brief = with_pairs(brief_from_data({
        "mix": "parallel",
        "modules": [{"record": "nmc-6s-240ah", "count": 18, "state_of_health": "80 %",
                     "resistance_growth": growth, "peak_current": "500 A",
                     "continuous_current": "200 A"} for growth in (1.0, 1.3)],
        "inverter": {"voltage_range": "240 V to 420 V"}, "power": {"peak": "60 kW"}}, "invented"))
    lot = lot_of({**GOOD, "impedance_ac_mohm": "0.50"})
    found = with_worst(brief, Layout((Part(2, 16),), 1, "grouped"), Salvage(lot, None))
    (pair,) = [m for m in found.modules if isinstance(m, SideBySide)]
    assert fault_side(pair).number == pytest.approx(0.50e-3 * pair.module.cell.hot_ratio)


# -- a reading that cannot be corrected ---------------------------------------------------------


@pytest.mark.parametrize(("quantity", "unnoted"), [
    ("resistance", {"resistance_mohm": "6.0", "resistance_temperature_degC": ""}),
    ("capacity", {"capacity_Ah": "120", "capacity_temperature_degC": "14.5"})])
def test_a_reading_that_no_rule_corrects_is_held_at_its_worst(quantity, unnoted) -> None:
    lot = lot_of(GOOD, {**GOOD, "mark": "M2", **unnoted})
    assert not getattr(lot.modules[1], f"{quantity}_common").known
    sound, doubtful = (getattr(m, f"{quantity}_common") for m in Salvage(lot, None).used)
    read = getattr(lot.modules[1].row, quantity).number
    worse = doubtful.number >= read if quantity == "resistance" else doubtful.number <= read
    assert worse and doubtful.basis == "assumed" and doubtful.origin.line == 3
    assert sound == getattr(lot.modules[0], f"{quantity}_common")


# -- a type by its label -----------------------------------------------------------------------


LABEL = "16s 75 Ah NMC"


def test_a_label_of_the_briefs_type_is_that_type() -> None:
    study = sized(cell("module", LABEL))
    assert study.faults.lowest.number == shipped().faults.lowest.number
    assert study.faults.highest.number == shipped().faults.highest.number
    assert study.salvage.dealt is not None and "another type" not in study.brief.counted


@pytest.mark.parametrize(("label", "is_it"), [
    (LABEL, True), ("16s1p 75 Ah NMC", True), ("16s2p 75 Ah NMC", False), ("16s 76 Ah NMC", False),
    ("15s 75 Ah NMC", False), ("16s 75 Ah NCA", False)])
def test_nothing_on_the_label_may_contradict(label, is_it) -> None:
    own = record("nmc-16s-75ah")
    sheet, faults = parse_sheet(f"mark,module\nM1,{label}\n", "b.csv", None, (own,))
    assert not faults and (sheet.rows[0].module is own) is is_it
    assert bool(of_other_types(sheet.rows, {own.id})) is not is_it


def test_a_label_that_two_types_of_the_brief_have_is_neither() -> None:
    own = record("nmc-16s-75ah")
    other = replace(own, id="mine")
    sheet, _ = parse_sheet(f"mark,module\nM1,{LABEL}\n", "b.csv", None, (own, other))
    assert sheet.rows[0].module.id not in (own.id, other.id)


@pytest.mark.parametrize("command", ["check", "protect", "report"])
def test_rows_of_another_type_are_told(tmp_path, command) -> None:
    brief = minibus_in(tmp_path, cell("module", "16s2p 75 Ah NMC"))
    out = tmp_path / "page.txt"
    run(command, str(brief), *([] if command == "check" else ["--layout", "12S2P"]),
        "--out", str(out))
    page = " ".join(out.read_text("utf-8").split())
    assert "26 rows of another type (16s2p-75-ah-nmc) are not counted: nmc-16s-75ah counts" in page


"""What a bench sheet leaves out of a test is never better than what could stand there.

Figures of modules are invented; check values are plain arithmetic on them, or rules of this
project's own: what a bench may have had ends at 60 °C, at C/50 and at a pulse of 0.1 A.
"""

from __future__ import annotations

import pytest

from packcalc.bench.assign import candidates
from packcalc.bench.common import resistance_at_common
from packcalc.bench.grade import GRADES
from packcalc.bench.next_tests import next_tests
from packcalc.bench.uncorrected import least_resistance, most_resistance
from packcalc.checks import NOT_EVALUATED, VERDICTS
from packcalc.report.assign_report import assignment_document
from packcalc.report.bench_report import bench_document
from packcalc.report.render import render

from .rows import GOOD, bench_of, graded, lot_of, row_of
from .test_auditor_fourth import brief, nmc, study

pytestmark = pytest.mark.thorough

WARMTH, CURRENT = "capacity_temperature_degC", "capacity_current_A"
WHERE = {WARMTH: ("-20", "15", "20", "25", "30", "35", "45", "60"),
         CURRENT: ("4.8", "12", "24", "48", "80", "120", "720")}
EACH = pytest.mark.parametrize("column", WHERE)


def page(document) -> str:
    return " ".join(render(document, "text").split())


def grade_at(grade: str) -> int:
    """Larger is better."""
    return GRADES.index(grade)


# --- the capacity test --------------------------------------------------------------------------

@EACH
@pytest.mark.parametrize("ampere_hours", ["140", "150", "160", "190", "210", "225", "235", "239",
                                          "242", "246", "251", "258"])
def test_no_grade_and_no_capacity_is_better_for_what_was_not_noted(column, ampere_hours):
    """From the line of rejection up to well above the label of 240 Ah, among others of a lot."""
    def dealt(at):
        others = [nmc(f"B{i}", ampere_hours=q) for i, q in enumerate((200, 206, 212, 215))]
        lot = lot_of(nmc("A1", ampere_hours=float(ampere_hours), **{column: at}), *others,
                     bench=bench_of(modules_in_pack=5))
        found = candidates(brief(5).modules[0], lot, True)
        return lot.modules[0], next((d for d in found if d.mark == "A1"), None)

    module, own = dealt("")
    for at in WHERE[column]:
        said, counted = dealt(at)
        assert grade_at(module.grade) <= grade_at(said.grade)
        if own is not None and counted is not None:
            assert own.capacity.number <= counted.capacity.number * (1 + 1e-12)
            assert own.measured[0] <= counted.measured[0]


@EACH
def test_it_is_told_and_waits_for_a_test(column):
    """Such modules were kept, where the same test stated at C/20 or 40 °C left them undecided."""
    name = {WARMTH: "temperature of the capacity test", CURRENT: "current of the capacity test"}
    lot = lot_of(*(nmc(f"A{i}", **({column: ""} if i == 1 else {})) for i in range(1, 9)),
                 bench=bench_of(modules_in_pack=8))
    module, other = lot.modules[:2]
    assert module.grade == "undecided" and f"not noted: {name[column]}" in module.why
    (check,) = [c for c in module.reasons if c.title == "capacity"]
    assert check.verdict == NOT_EVALUATED and "enter what was not noted" in check.remedy
    assert "not noted" not in other.why
    (test,) = [t for t in next_tests(lot) if t.kind == "capacity"]
    assert test.marks == ("A1",) and "note Ah, current and temperature" in test.how
    assert f"not noted: {name[column]}" in page(bench_document(lot))


def test_the_build_list_tells_it():
    rows = [nmc(f"A{i}", 22.2, 205 + i, **({WARMTH: ""} if i < 3 else {})) for i in range(1, 9)]
    shown = page(assignment_document(study(rows, "4S2P", count_undecided="yes")))
    assert "capacity: uncorrectable: not noted: temperature of the capacity test" in shown
    assert shown.count("UNDECIDED; expected, not measured") == 2


@EACH
@pytest.mark.parametrize(("layout", "energy"), [
    ("8S1P", 29.5), ("8S1P", 31.0), ("2S4P", 29.5), ("2S4P", 31.0), ("2S4P", 32.0)])
def test_energy_current_and_chance_are_no_better(column, layout, energy):
    """A whole lot tested in one room: four in parallel must not average away what nobody noted."""
    def found(at):
        rows = [nmc(f"A{i}", 22.2, 206 + i, **{column: at}) for i in range(1, 9)]
        asked = brief(8, {"peak": "40 kW", "continuous": "33 kW"},
                      {"energy_least": f"{energy} kWh"}, count_undecided="yes")
        return study(rows, layout, asked=asked)

    open_, checks = found(""), {c.title: c for c in found("").checks}
    for at in WHERE[column]:
        said = found(at)
        for target, other in zip(open_.sureness.targets, said.sureness.targets, strict=True):
            assert target.low <= other.low * (1 + 1e-9)
            assert target.chance is None or target.chance <= other.chance + 1e-9
        for check in said.checks:
            assert VERDICTS.index(checks[check.title].verdict) <= VERDICTS.index(check.verdict)


# --- the pulse ----------------------------------------------------------------------------------

@pytest.mark.parametrize("raw", ["1.2", "1.9", "3.5"])
@pytest.mark.parametrize("others", [{}, {"resistance_temperature_degC": ""},
                                    {"resistance_charge_percent": ""}])
def test_a_current_not_noted_is_no_better_than_the_least_that_is_a_reading(raw, others):
    """It was counted as the least that tells half of its fall, better than a stated 8 A."""
    bench = bench_of()
    least = bench.voltmeter_error.number / (0.5 * float(raw) * 1e-3)
    open_ = row_of(resistance_mohm=raw, resistance_current_A="", **others)
    for current in (0.1, 1.0, 8.0, 1.001 * least, 2 * least, 240.0):
        said = row_of(resistance_mohm=raw, resistance_current_A=f"{current:.4f}", **others)
        assert most_resistance(open_, bench) >= most_resistance(said, bench)
        assert least_resistance(open_, bench) <= least_resistance(said, bench)
        at_common = resistance_at_common(said, bench).value
        assert not at_common.known or most_resistance(open_, bench) >= at_common.number


def test_the_meters_error_counts_beside_what_else_was_not_noted():
    """It stood alone beside the reading, not on what the reading may mean at another warmth."""
    warm = {"resistance_temperature_degC": ""}
    fine, coarse = (most_resistance(row_of(resistance_current_A=a, **warm), bench_of())
                    for a in ("240", "24"))
    assert coarse > fine > most_resistance(row_of(resistance_current_A="2400", **warm), bench_of())


def test_a_pack_of_pulses_without_their_current_has_no_better_voltage():
    """With 8 A, or with 1 A, the pack's full power failed; with nothing written it passed."""
    def pack(current):
        rows = [nmc(f"A{i}", 22.2, 212, resistance_current_A=current) for i in range(1, 9)]
        return study(rows, "8S1P", count_undecided="yes")

    open_ = pack("")
    assert open_.undecided
    for current in ("0.1", "1", "8", "11", "24", "240"):
        said = pack(current)
        assert open_.totals.resistance.number >= said.totals.resistance.number * (1 - 1e-9)
        for mine, other in zip(open_.checks, said.checks, strict=True):
            assert VERDICTS.index(mine.verdict) <= VERDICTS.index(other.verdict), mine.title


def test_a_test_noted_in_full_stays_as_it_is():
    assert graded().grade == "keep" and "capacity" not in graded().why
    assert lot_of(GOOD).modules[0].capacity_common.shown == "210.0 Ah"

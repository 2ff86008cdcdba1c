"""The main fuse: bounds on its rating, verdicts on either side of each bound, refusals."""

import dataclasses

import numpy as np
import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, STAGES, worst
from packcalc.errors import OutOfRange
from packcalc.findings import leaf
from packcalc.protect import fuse

ZERO = 273.15


def given(title, unit, value):
    return leaf(title, "x", unit, value, "given")


def asked(**changes):
    entries = dict(
        highest_voltage=given("highest working voltage", "V", 410.2),
        continuous_current=given("continuous current", "A", 100.0),
        peak_current=given("peak current", "A", 300.0),
        peak_duration=given("peak duration", "s", 10.0),
        box_ambient=given("box ambient", "°C", 60.0 + ZERO),
        fault_highest=given("highest fault", "A", 4000.0),
        fault_lowest=given("lowest fault", "A", 900.0),
        time_constant_highest=given("time constant high", "ms", 1.0e-4),
        time_constant_lowest=given("time constant low", "ms", 1.25e-5),
        cable_current=given("cable capacity", "A", 400.0))
    return fuse.FuseAsked(**{**entries, **changes})


def check(item, rating, title):
    candidate = next(c for c in item.candidates if c.name == f"{rating} A")
    return next(c for c in candidate.checks if title in c.title)


def cable_side(item, rating):
    """Graver verdict of In ≤ Iz and I2 ≤ 1.45·Iz (IEC 60364-4-43, 433.1)."""
    candidate = next(c for c in item.candidates if c.name == f"{rating} A")
    return worst([c for c in candidate.checks if c.title in (fuse.WITHIN_CABLE, fuse.FUSING)])


def names(item):
    return [c.name for c in item.shortlist]


def test_least_rating_by_hand():
    # A1 = √((130 − 60)/(130 − 25)) = 0.8165; 100 A/(0.8165·0.58) = 211.2 A.
    duty = fuse.fuse_duty(asked())
    assert duty.least_rating.number == pytest.approx(211.16, abs=0.01)
    assert not duty.conductor_known


def test_the_constants_are_the_ends_of_their_ranges_that_ask_more():
    # Guide: a 130 to 150 °C, θ0 25 to 30 °C; sheets: 0.58 to 0.6.
    ours = fuse.fuse_ambient_factor(60 + ZERO, fuse.HOTTEST_PART.number,
                                    fuse.RATING_AMBIENT.number)
    for hottest in (130, 150):
        for rated in (25, 30):
            theirs = fuse.fuse_ambient_factor(60 + ZERO, hottest + ZERO, rated + ZERO)
            assert ours <= theirs
    assert fuse.FLUCTUATION.number == 0.58


@pytest.mark.parametrize("ambient, credit", [(24.0, 1.0), (25.0, 1.0), (26.0, 0.99523)])
def test_a_cold_box_earns_no_credit(ambient, credit):
    duty = fuse.fuse_duty(asked(box_ambient=given("box ambient", "°C", ambient + ZERO)))
    assert duty.least_rating.number == pytest.approx(100.0 / (credit * 0.58), rel=1e-4)


def test_air_as_hot_as_the_link_is_refused():
    with pytest.raises(OutOfRange, match="cool the box or move the fuse"):
        fuse.size_main_fuse(asked(box_ambient=given("box ambient", "°C", 130.0 + ZERO)))


def test_window_by_hand():
    # Load 211.2 A → 250 A; cable 1.45·400/1.6 = 362.5 A → 315 A shown, 400 A within capacity.
    item = fuse.size_main_fuse(asked())
    assert names(item) == ["250 A", "315 A", "400 A"]
    assert cable_side(item, 315) == PASS
    assert cable_side(item, 400) == CAUTION
    assert cable_side(item, 500) == FAIL
    assert check(item, 200, "continuous load").verdict == FAIL
    assert "lowest rating left 250 A, highest 400 A" in item.checks[0].reason


@pytest.mark.parametrize("capacity, verdict", [
    (249.9, FAIL), (250.0, CAUTION), (275.8, CAUTION), (275.9, PASS)])
def test_cable_side_at_its_two_break_points(capacity, verdict):
    # 250 A fails above Iz; it is shown by I2 from Iz = 250·1.6/1.45 = 275.86 A.
    item = fuse.size_main_fuse(asked(cable_current=given("cable capacity", "A", capacity)))
    assert cable_side(item, 250) == verdict


def test_a_pass_on_the_cable_lists_the_fusing_factor_to_confirm():
    item = fuse.size_main_fuse(asked())
    assert check(item, 315, "1.45").to_confirm == ("Conventional fusing factor of a gG link",)


@pytest.mark.parametrize("current, verdict", [
    (118.38, NOT_EVALUATED), (118.40, FAIL)])
def test_load_side_break_point(current, verdict):
    # 250 A · 0.81650 · 0.58 = 118.39 A continuous.
    item = fuse.size_main_fuse(asked(continuous_current=given("continuous", "A", current)))
    assert check(item, 250, "continuous load").verdict == verdict


def test_conductor_factor_is_never_one_in_silence():
    item = fuse.size_main_fuse(asked())
    found = check(item, 250, "continuous load")
    assert found.verdict == NOT_EVALUATED
    assert "C1" in found.reason
    assert any("C1" in line for line in item.open_items)


def test_conductor_factor_from_the_sheet_raises_the_demand_and_allows_a_pass():
    item = fuse.size_main_fuse(asked(conductor_factor=given("C1", "", 0.80)))
    # 211.16 A / 0.80 = 263.9 A: 250 A no longer carries it.
    assert check(item, 250, "continuous load").verdict == FAIL
    assert check(item, 315, "continuous load").verdict == PASS
    assert not any("C1" in line for line in item.open_items)


@pytest.mark.parametrize("factor", [0.0, -0.5, 1.01])
def test_conductor_factor_outside_its_range_is_refused(factor):
    with pytest.raises(OutOfRange, match="conductor factor must be above 0 and at most 1"):
        fuse.fuse_rating_with_conductor(100.0, factor)


@pytest.mark.parametrize("cycles, share", [
    (1.0, 0.55), (2000.0, 0.55), (2001.0, 0.50), (4000.0, 0.50), (10000.0, 0.45),
    (10001.0, 0.35), (1000000.0, 0.31)])
def test_peaks_in_life_take_the_row_that_asks_more(cycles, share):
    duty = fuse.fuse_duty(asked(cycles=given("cycles", "", cycles)))
    assert duty.melting_current.number == pytest.approx(300.0 / share)


def test_unknown_number_of_peaks_takes_the_most_and_says_so():
    duty = fuse.fuse_duty(asked())
    assert duty.melting_current.number == pytest.approx(300.0 / 0.31)
    assert "unknown" in duty.melting_current.note


def test_more_peaks_than_the_table_is_not_extrapolated():
    duty = fuse.fuse_duty(asked(cycles=given("cycles", "", 1000001.0)))
    assert not duty.melting_current.known
    assert "more than" in duty.melting_current.note


@pytest.mark.parametrize("lowest, verdict", [
    (249.0, FAIL), (250.0, FAIL), (251.0, NOT_EVALUATED)])
def test_lowest_fault_must_exceed_the_rating_and_is_then_asked_for(lowest, verdict):
    item = fuse.size_main_fuse(asked(fault_lowest=given("lowest fault", "A", lowest)))
    found = check(item, 250, "lowest fault")
    assert found.verdict == verdict
    assert found.stage == "who clears"
    if verdict == NOT_EVALUATED:
        assert "total clearing time at 251 A" in found.reason


def test_no_rating_opens_at_the_lowest_fault():
    item = fuse.size_main_fuse(asked(fault_lowest=given("lowest fault", "A", 240.0)))
    assert item.shortlist == ()
    assert item.checks[0].verdict == FAIL
    assert item.checks[0].stage == "who clears"
    assert "nobody" in item.checks[0].reason
    assert "contactor on a named trip" in item.checks[0].remedy


def test_no_rating_between_load_and_cable():
    item = fuse.size_main_fuse(asked(cable_current=given("cable capacity", "A", 220.0)))
    assert item.shortlist == ()
    assert (item.checks[0].verdict, item.checks[0].stage) == (FAIL, "thermal load")
    assert "larger cable" in item.checks[0].remedy


def test_load_beyond_the_series():
    item = fuse.size_main_fuse(asked(
        continuous_current=given("continuous", "A", 700.0), cable_current=None,
        fault_lowest=given("lowest fault", "A", 9000.0)))
    assert item.checks[0].verdict == FAIL
    assert "end of the series" in item.checks[0].remedy


def test_no_cable_chosen_leaves_the_upper_end_open():
    item = fuse.size_main_fuse(asked(cable_current=None))
    assert check(item, 250, "cable").verdict == NOT_EVALUATED
    assert names(item)[-1] == "800 A"  # 1000 A exceeds the lowest fault of 900 A
    assert any("Cable capacity" in line for line in item.open_items)


def test_nothing_passes_without_a_data_sheet():
    for candidate in fuse.size_main_fuse(asked(conductor_factor=given("C1", "", 1.0))).candidates:
        assert candidate.verdict != PASS
        for title in ("voltage", "breaking capacity", "time constant", "peaks"):
            found = next(c for c in candidate.checks if title in c.title)
            assert found.verdict == NOT_EVALUATED


def test_checks_stand_in_the_order_of_the_stages():
    for candidate in fuse.size_main_fuse(asked()).candidates:
        order = [STAGES.index(c.stage) for c in candidate.checks]
        assert order == sorted(order)


def test_everything_unknown_still_answers():
    blanks = {f.name: given(f.name, "A", None) for f in dataclasses.fields(fuse.FuseAsked)
              if f.name not in ("string_count", "cycles", "cable_current", "conductor_factor",
                                "slower_loops")}
    item = fuse.size_main_fuse(fuse.FuseAsked(**blanks))
    assert len(item.shortlist) == 20
    assert item.checks[0].verdict == NOT_EVALUATED
    assert all(c.verdict == NOT_EVALUATED for k in item.candidates for c in k.checks)
    assert len([line for line in item.open_items if line.endswith("not known.")]) == 7


def test_specification_rounds_to_the_side_that_asks_more():
    item = fuse.size_main_fuse(asked(
        fault_highest=given("highest fault", "A", 4001.0),
        fault_lowest=given("lowest fault", "A", 412.9)))
    lines = {line.what: line.value for line in item.specification}
    assert lines["Rated voltage, DC"] == "above 411 V"
    assert lines["Breaking capacity, DC"] == "above 4010 A"
    assert lines["Lowest breaking current"] == "at most 412 A"
    assert lines["Total clearing time at 412 A DC"] == "at most 1.000 s"
    assert lines["Rated current"].startswith(
        "at least 212 A, at most 362 A were it a gG link (I2 ≤ 1.45·Iz); up to 400 A (In ≤ Iz)")
    assert lines["Melting current at 10.00 s"] == "at least 968 A"
    assert lines["Permitted time constant L/R at that voltage"] == "at least 0.100 ms at 411 V"


@pytest.mark.parametrize("current, words", [
    (1420.0, "does not open within 10 s"), (1421.0, "may or may not"), (2839.0, "may or may not"),
    (2840.0, "within 5 s, not surely"), (8059.0, "within 5 s, not surely"),
    (8060.0, "opens within 0.1 s")])
def test_gg_indication_at_its_gates(current, words):
    assert words in fuse.gg_indication(400.0, given("lowest fault", "A", current))


def test_gg_indication_never_becomes_a_check():
    item = fuse.size_main_fuse(asked(fault_lowest=given("lowest fault", "A", 50000.0)))
    candidate = next(c for c in item.candidates if c.name == "250 A")
    assert candidate.facts[0].text == "opens within 0.1 s"
    assert check(item, 250, "lowest fault").verdict == NOT_EVALUATED


@pytest.mark.parametrize("strings, said", [(1, False), (2, True)])
def test_two_strings_are_two_sources(strings, said):
    item = fuse.size_main_fuse(asked(string_count=strings))
    assert any("strings in parallel" in note for note in item.notes) == said


def test_cable_limit_never_exceeds_the_cable():
    assert fuse.fuse_rating_cable_limit(100.0, 1.0) == 100.0


SAMPLES = [
    (fuse.fuse_ambient_factor, ([300.0, 350.0], [403.15, 423.15], [298.15, 303.15])),
    (fuse.fuse_rating_before_conductor, ([100.0, 200.0], [0.8, 0.9], [0.6, 0.58])),
    (fuse.fuse_rating_with_conductor, ([100.0, 200.0], [0.8, 0.9])),
    (fuse.fuse_melting_current_demand, ([100.0, 200.0], [0.31, 0.55])),
    (fuse.fuse_rating_cable_limit, ([100.0, 200.0], [1.2, 1.6])),
]


@pytest.mark.parametrize("function, columns", SAMPLES, ids=lambda x: getattr(x, "__name__", ""))
def test_scalar_equals_vector(function, columns):
    vector = function(*(np.array(column) for column in columns))
    scalars = [function(*row) for row in zip(*columns)]
    assert vector == pytest.approx(scalars, rel=1e-14)

"""An entry left open counts on its safe side everywhere, also where high and low change roles.

All figures invented.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from packcalc.brief_keys import KEYS
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.protect.contactor import CLOSING_STEP
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.what_if import with_value
from packcalc.study import list_layouts
from tests.briefs import EXAMPLES, asked, module
from tests.cases.test_hard_inputs import FOUR

pytestmark = pytest.mark.thorough

STRICTNESS = (PASS, CAUTION, NOT_EVALUATED, FAIL)
TRUCK = next(e for e in EXAMPLES if e.parent.name == "truck")
# The rule set is a choice of jurisdiction, not a figure with a worse end.
WORDS = [k for k in KEYS if k.choices and k.dotted not in ("cables.rules",)
         and k.section.split(".")[0] in ("regeneration", "path", "insulation", "management",
                                         "cables", "branch")]


def test_open_health_counts_all_of_the_label_where_stored_energy_is_the_limit():
    def labels(health: str | None) -> set[str]:
        found = list_layouts(asked([module(state_of_health=health)],
                                   battery__energy_most="50 kWh"))
        return {found.layout(i).label for i in range(len(found))}
    # 8S2P: 65 kWh usable at the label, 45 kWh at 70 %
    assert "8S2P" in labels("70 %") and "8S2P" not in labels(None)


def test_stored_energy_of_open_health_is_that_of_the_label():
    def pack(**health: str | None):
        return study_protection(asked([module(**health)]), "9S1P").pack
    left_open, full = pack(state_of_health=None), pack(state_of_health="100 %")
    assert left_open.total_energy.number == pytest.approx(full.total_energy.number)
    assert left_open.usable_energy.number == pytest.approx(0.7 * full.usable_energy.number)


def test_open_path_resistances_damp_no_step_current():
    left_open = study_protection(brief_from_data(FOUR), "12S1P").pack
    assert left_open.resistance_least.number == left_open.resistance_initial.number
    known = study_protection(asked(), "9S1P").pack
    # 10 links · 0.1 mΩ + two fuses · 0.4 mΩ + two contactors · 0.3 mΩ
    assert known.resistance_least.number - known.resistance_initial.number == pytest.approx(
        known.path.number)


def test_a_route_that_no_cable_fits_fails_the_fuse_on_its_cable_side():
    brief = brief_from_data({**FOUR, "surroundings": {"cable_ambient": "84 degC"}})
    study = study_protection(brief, "12S1P")
    fuse = next(i for i in study.items if i.key == "main_fuse")
    sides = [c for r in fuse.candidates for c in r.checks
             if c.title == "Rated current within the cable's capacity"]
    # a missing cable is no cable of 0 A: no rating is held against it, and it fails once
    assert sides and all(c.verdict == NOT_EVALUATED and "no cable qualifies" in c.reason
                         for c in sides)
    failed = [c for c in fuse.checks if c.verdict == FAIL and "no cable qualifies" in c.reason]
    assert [c.title for c in failed] == ["Rating window between load, cable and lowest fault"]


@pytest.fixture(scope="module")
def truck():
    return read_brief(str(TRUCK))


def _verdicts(study: ProtectionStudy) -> Iterator[tuple[tuple[str, str], int]]:
    for title, check in study.checks:
        yield (title, check.title), STRICTNESS.index(check.verdict)


def _strictest(study: ProtectionStudy) -> dict[tuple[str, str], int]:
    found: dict[tuple[str, str], int] = {}
    for name, rank in _verdicts(study):
        found[name] = max(rank, found.get(name, rank))
    return found


def _places(brief, key) -> list[str]:
    if key.section == "branch":
        return [f"branch[{i}].{key.name}" for i in range(len(brief.branch))][:1]
    if key.section == "cables.route":
        return [f"cables.route[0].{key.name}"]
    return [key.dotted]


@pytest.mark.property
@pytest.mark.parametrize("key", WORDS, ids=lambda k: k.dotted)
def test_an_open_choice_is_judged_no_softer_than_its_safe_word(truck, key, tmp_path):
    text = TRUCK.read_text("utf-8").replace(
        '"../parts.csv"', f'"{TRUCK.parents[1] / "parts.csv"}"').splitlines()
    for dotted in _places(truck, key):
        known = _strictest(study_protection(with_value(truck, dotted, str(key.safe)), "16S1P"))
        opened = _opened(text, key, tmp_path / "brief.toml")
        if opened is None:
            continue
        left_open = _strictest(study_protection(opened, "16S1P"))
        softer = {name: (left_open[name], rank) for name, rank in known.items()
                  if name in left_open and left_open[name] < rank}
        assert not softer


def _opened(lines: list[str], key, place):
    """The truck with the first entry of that key left open; None where it has none."""
    section = ""
    for number, line in enumerate(lines):
        if line.startswith("["):
            section = line.strip("[] ").split("]")[0]
        elif section == key.section and line.split("=")[0].strip() == key.name:
            changed = [*lines[:number], f'{key.name} = "unknown"', *lines[number + 1:]]
            place.write_text("\n".join(changed), "utf-8")
            return read_brief(str(place))
    return None


def test_a_string_contactor_bears_what_falls_to_it_when_its_string_is_alone():
    place = next(e for e in EXAMPLES if e.parent.name == "minibus")
    study = study_protection(read_brief(str(place)), "12S2P", "strings")
    main, string = (next(i for i in study.items if i.key == key)
                    for key in ("contactors", "string_contactors"))
    # no pair common to the strings: the first contactor makes the step, the last breaks the trip
    step = next(f for f in main.duty if f.title == CLOSING_STEP)
    assert max(f.number for f in string.duty if "makes" in f.title) >= step.number
    trip = next(f for f in main.duty if f.title.startswith("largest current that a trip must "
                                                           "break, discharging"))
    assert max(f.number for f in string.duty if "its string alone" in f.title) >= trip.number
    assert main.notes[0].startswith("Parallel strings")


# -- trips whose delay or sensor is open, or that the sensor cannot see ---------------------------


def _truck_with(truck_text: str, tmp_path, **changes: str) -> ProtectionStudy:
    lines = truck_text.replace('"../parts.csv"',
                               f'"{TRUCK.parents[1] / "parts.csv"}"').splitlines()
    for name, value in changes.items():
        lines = [f"{name} = {value}" if line.split("=")[0].strip() == name else line
                 for line in lines]
    place = tmp_path / "truck.toml"
    place.write_text("\n".join(lines), "utf-8")
    return study_protection(read_brief(str(place)), "16S1P")


def _spans(study: ProtectionStudy) -> str:
    return next(c for _, c in study.checks
                if c.title.startswith("every fault current from pole to pole is opened")).verdict


@pytest.mark.parametrize("name", ["trip_delay", "overload_delay", "voltage_delay"])
def test_an_open_delay_may_be_the_shortest(tmp_path, name):
    text = TRUCK.read_text("utf-8")
    # above what the contactor breaks, a trip without delay tears it open before the fuse clears
    assert _spans(_truck_with(text, tmp_path, **{name: '"unknown"'})) == FAIL
    assert _spans(_truck_with(text, tmp_path)) != FAIL


@pytest.mark.parametrize("changes", [
    {"trip_current": '"950 A"', "current_sensor_error": '"20 %"'},
    {"trip_current": '"700 A"', "current_sensor_range": '"600 A"'}], ids=["error", "range"])
def test_a_trip_that_the_sensor_cannot_be_sure_to_see_does_not_count(tmp_path, changes):
    text = TRUCK.read_text("utf-8")
    blind = {"undervoltage_trip": '"unknown"', "overload_trip": '"unknown"',
             "overload_delay": '"unknown"'}
    assert _spans(_truck_with(text, tmp_path, **blind)) != FAIL
    # 950 A + 20 % of 2500 A is 1450 A, and a sensor of 600 A never shows 700 A; the fault is 961 A
    assert _spans(_truck_with(text, tmp_path, **blind, **changes)) == FAIL


# -- parallel strings ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def strings():
    place = next(e for e in EXAMPLES if e.parent.name == "minibus")
    study = study_protection(read_brief(str(place)), "12S2P", "strings")
    return next(i for i in study.items if i.key == "strings")


def test_a_string_left_alone_is_held_against_its_own_modules(strings):
    out = [c for c in strings.checks if c.title.startswith("one string out")]
    assert len(out) == 5 and all(c.verdict in (PASS, CAUTION) for c in out)
    peak = next(c for c in out if "peak current" in c.title)
    # 153.6 kW at 560 V through one string, 230 A at 91 % of its capacity
    assert peak.verdict == CAUTION and peak.figure.number > peak.demand.number
    assert "must cut the pack to 209.3 A" in peak.remedy


def test_the_joining_limit_leaves_room_for_the_reading_s_error(strings):
    told = next(r for r in strings.specification if "measured difference" in r.what)
    allowed = next(f for f in strings.duty if f.title == "allowed difference at 45.00 °C")
    assert float(told.value.split()[0]) == pytest.approx(allowed.number - 0.5, abs=2e-3)

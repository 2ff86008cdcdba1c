"""A brief read from text and from Python: values, origins, what an open entry means."""

from __future__ import annotations

import dataclasses
import datetime

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcalc.brief_keys import KEYS
from packcalc.entry_key import Key
from packcalc.errors import InputErrors, UnknownName
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.brief_sections import DERIVED
from packcalc.reading.entries import WHOLE_NUMBERS, number_si
from packcalc.reading.positions import parse_toml
from packcalc.reading.what_if import with_value
from packcalc.units import from_si, into_si

FOUR = """
[[modules]]
label = "12s 160 Ah NMC"
count = 16
[inverter]
voltage_range = "260 V to 430 V"
[power]
peak = "120 kW"
"""
REQUIRED = {"modules.count", "inverter.voltage_range", "power.peak"}


def brief_of(text: str):
    return brief_from_data(parse_toml(text, "b.toml"), "b.toml", text)


def faults_of(text: str) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        brief_of(text)
    return [str(fault) for fault in caught.value.faults]


def data_with(dotted: str, value: object) -> dict:
    """The four entries as data, and one more."""
    data = parse_toml(FOUR, "b.toml")
    *section, name = dotted.split(".")
    if section == ["modules"]:
        data["modules"][0][name] = value
    elif section == ["cables", "route"]:
        data["cables"] = {"route": [{"name": "r", name: value}]}
    elif section == ["branch"]:
        data["branch"] = [{"kind": "heater", name: value}]
    elif section == ["precharge", "load"]:
        load = {"kind": "resistive", "resistance": "1 kΩ"} if name != "power" \
            else {"kind": "constant power"}
        data["precharge"] = {"load": [{**load, name: value}]}
    else:
        data.setdefault(section[0], {})[name] = value
    return data


def entry_of(brief, dotted: str):
    """The finding of a key, wherever its section stands."""
    head = {"modules": "modules[0]", "cables.route": "cables.route[0]",
            "precharge.load": "precharge.load[0]", "branch": "branch[0]"}
    section, _, name = dotted.rpartition(".")
    return dict(brief.entries())[f"{head.get(section, section)}.{name}"]


# -- four entries suffice ---------------------------------------------------------------------


def test_four_entries_give_a_brief() -> None:
    brief = brief_of(FOUR)
    assert brief.modules[0].module.series == 12
    assert brief.modules[0].count.number == 16
    assert (brief.inverter.voltage_low.number, brief.inverter.voltage_high.number) == (260, 430)
    assert brief.power.peak.number == 120e3
    (route,) = brief.cables.route
    assert (route.name, route.carries) == ("battery to inverter", "traction")
    assert brief.precharge.load == ()
    assert (brief.title, brief.date_of_issue, brief.note, brief.mix) == ("", "", "", "no")


def test_given_values_remember_line_key_and_text() -> None:
    origin = brief_of(FOUR).inverter.voltage_high.origin
    assert (origin.place, origin.line, origin.key, origin.text) == (
        "b.toml", 6, "inverter.voltage_range", "260 V to 430 V")
    assert brief_of(FOUR).modules[0].count.origin.key == "modules[0].count"


def test_every_open_entry_is_listed_in_the_order_of_the_schema() -> None:
    listed = [u.key.dotted for u in brief_of(FOUR).unknowns]
    expected = [k.dotted for k in KEYS if k.dotted not in (*REQUIRED, *ASKED_WITH)
                and k.section not in ("precharge.load", "branch")]
    at = expected.index("inverter.absolute_maximum")  # a label alone says no resistance
    assert listed == [*expected[:at], "modules.resistance", *expected[at:]]


# Asked where another entry says that there is such a part.
ASKED_WITH = {"path.charge_difference": ("path", "charge_contactor", "both poles"),
              "path.string_cable_section": ("path", "string_cable_length", "2 m"),
              "station.capacitance": ("station", "current", "60 A"),
              "strings.sensor_range": ("strings", "trip_current", "350 A")}
BY_CLASS = ("modules.resistance_growth",)  # counted by the module's class where that is more


@pytest.mark.parametrize("key", [k for k in KEYS if k.dimension != "words" and not k.required
                                 and k.section != "precharge.load"], ids=lambda k: k.dotted)
def test_open_entries_hold_the_safe_value_and_say_what_it_means(key: Key) -> None:
    for value in ("unknown", " Unknown ", None):
        data = data_with(key.dotted, value)
        if key.dotted in ASKED_WITH:
            section, name, words = ASKED_WITH[key.dotted]
            data[section][name] = words
        brief = brief_from_data(data)
        for name in key.pair or (key.name,):
            found = entry_of(brief, key.dotted.replace(key.name, name))
            assert found.basis == "assumed"
            taken = next(u for u in brief.unknowns if u.key.dotted == key.dotted)
            # The words of an open growth say which law counted; all others are the schema's.
            assert found.told_note == (taken.key if key.dotted in BY_CLASS else key).consequence
            assert bool(found.untold_more) == key.unbounded
            assert (found.origin.line, found.origin.text) == (0, "unknown")
            if key.dotted not in (*DERIVED, *BY_CLASS):
                safe = None if key.safe is None else into_si(float(key.safe), key.unit)
                assert found.value == (None if safe is None else pytest.approx(safe))
        unknown = next(u for u in brief.unknowns if u.key.dotted == key.dotted)
        if key.other is not None:
            assert unknown.other == pytest.approx(into_si(float(key.other), key.unit))


def test_open_entries_that_hang_on_a_neighbour() -> None:
    brief = brief_of(FOUR)
    assert brief.inverter.absolute_maximum.number == 430
    assert brief.inverter.full_power_from.number == pytest.approx(286)
    assert brief.power.continuous.number == pytest.approx(60e3)
    assert brief.regeneration.power.number == pytest.approx(60e3)
    other = {u.dotted: u.other for u in brief.unknowns}
    assert other["inverter.absolute_maximum"] is None
    assert other["inverter.full_power_from"] == 260
    assert other["power.continuous"] == pytest.approx(39.6e3)
    assert other["regeneration.power"] == 0


def test_full_power_is_never_awaited_above_the_operating_range() -> None:
    brief = brief_of(FOUR.replace("260 V to 430 V", "400 V to 430 V"))
    assert brief.inverter.full_power_from.number == 430


def test_time_limit_and_time_out_agree_when_one_is_open() -> None:
    late = brief_of(FOUR + '[precharge]\ntime_limit = "30 s"').precharge
    assert (late.time_limit.number, late.timeout.number) == (30, 30)
    assert "raised to the time limit" in late.timeout.note
    hasty = brief_of(FOUR + '[precharge]\ntimeout = "1 s"').precharge
    assert (hasty.time_limit.number, hasty.timeout.number) == (1, 1)
    assert "lowered to the time-out" in hasty.time_limit.note


@pytest.mark.parametrize("dotted", sorted(REQUIRED))
def test_the_first_four_may_be_unknown_and_may_not_be_missing(dotted: str) -> None:
    # the word was refused before, although it is a legal answer everywhere
    section, name = dotted.split(".")
    lines = FOUR.splitlines()
    brief = brief_of("\n".join(f'{name} = "unknown"' if line.startswith(name) else line
                               for line in lines))
    (untold,) = brief.untold
    assert untold.key.dotted == dotted and untold.decides and untold.key.find
    (fault,) = faults_of("\n".join(line for line in lines if not line.startswith(name)))
    assert "needed for a first answer" in fault and f".{name}:" in fault.replace("[0]", "")
    assert "or write 'unknown'" in fault


def test_nothing_at_all_names_all_four() -> None:
    words = "\n".join(faults_of("title = 'x'"))
    for piece in ("[[modules]]", "inverter.voltage_range", "power.peak"):
        assert piece in words
    (fault,) = faults_of(FOUR.replace('label = "12s 160 Ah NMC"\n', ""))
    assert "which module? needed for a first answer" in fault and "b.toml:2" in fault


# -- plausibility: on, just below, just above -------------------------------------------------

SPANNED = [k for k in KEYS if k.least is not None and not k.pair]


def written(key: Key, number: float) -> object:
    unit = {"°C": "degC"}.get(key.unit, key.unit)
    return f"{number:.12g} {unit}" if unit else number


@pytest.mark.parametrize("key", SPANNED, ids=lambda k: k.dotted)
def test_span_of_each_entry(key: Key) -> None:
    whole = key.dotted in WHOLE_NUMBERS
    step = 1.0 if whole else 1e-3 * max(abs(key.least), 0.1 * abs(key.most - key.least), 1e-3)
    for number, inside in ((key.least, True), (key.most, True), (key.least - step, False),
                           (key.most + step, False)):
        data = data_with(key.dotted, written(key, number))
        if key.dotted == "power.continuous":
            data["power"]["peak"] = "2000 kW"
        messages = _messages(data)
        # The ends of the cell tables are told as what they are, not as implausible.
        told = ("is not plausible for", "than the cell tables reach")
        assert any(words in m for m in messages for words in told) != inside, messages
        assert not any("unit" in m for m in messages if "plausible" not in m)


def _messages(data: dict) -> list[str]:
    try:
        brief_from_data(data)
    except InputErrors as error:
        return [str(fault) for fault in error.faults]
    return []


@pytest.mark.property
@given(st.sampled_from(SPANNED), st.floats(0.05, 0.95))
def test_given_numbers_come_back(key: Key, share: float) -> None:
    number = key.least + share * (key.most - key.least)
    if key.unit == "":
        number = float(round(number))
    found = number_si(written(key, number), key.dimension)
    assert from_si(found, key.unit) == pytest.approx(float(f"{number:.12g}"), rel=1e-9, abs=1e-9)


# -- other shapes -----------------------------------------------------------------------------


def test_python_data_takes_quantities_of_any_registry() -> None:
    ureg = pint.UnitRegistry()
    brief = brief_from_data({
        "modules": [{"label": "12s 160 Ah NMC", "count": 16}],
        "inverter": {"voltage_range": (ureg.Quantity(0.26, "kV"), ureg.Quantity(430, "V"))},
        "power": {"peak": ureg.Quantity(120, "kW")},
        "battery": {"coldest_start": ureg.Quantity(-5, "degC")},
        "charger": {"tolerance": ureg.Quantity(0.005, "")},
    })
    assert brief.inverter.voltage_low.number == pytest.approx(260)
    assert brief.power.peak.number == pytest.approx(120e3)
    assert brief.battery.coldest_start.number == pytest.approx(268.15)
    assert brief.charger.tolerance.number == 0.005
    assert brief.place == "python" and brief.power.peak.origin.line == 0


def test_a_record_of_the_library() -> None:
    brief = brief_of(FOUR.replace('label = "12s 160 Ah NMC"', 'record = "nmc-12s-160ah"'))
    assert brief.modules[0].module.id == "nmc-12s-160ah"


def test_a_module_entry_by_entry_with_rest_voltages() -> None:
    inline = ('cells_in_series = 12\ncapacity = "160 Ah"\nchemistry = "NMC"\nmass = "60 kg"\n'
              'rest_voltages = { "20 %" = "3.55 V", "50 %" = "3.70 V", "80 %" = "3.99 V" }')
    module = brief_of(FOUR.replace('label = "12s 160 Ah NMC"', inline)).modules[0].module
    assert module.mass.number == 60 and len(module.rest_voltages) == 3
    assert module.mass.origin.line == 6 and module.mass.origin.key == "modules[0].mass"


def test_faults_inside_a_module_carry_file_line_and_key() -> None:
    (fault,) = faults_of(FOUR.replace("160 Ah", "160 mAh"))
    assert fault.startswith("b.toml:3: modules[0].label:")


def test_routes_and_loads() -> None:
    brief = brief_of(FOUR + """
[[cables.route]]
name = "charge inlet"
carries = "charging"
length = "2 m"
install = "surface"
[[precharge.load]]
name = "heater"
kind = "resistive"
resistance = "47 kΩ"
[[precharge.load]]
kind = "constant power"
power = "30 W"
wakes_at = "180 V"
""")
    route, assumed = brief.cables.route
    assert (assumed.name, assumed.carries) == ("battery to inverter", "traction")
    assert (route.name, route.carries, route.install) == ("charge inlet", "charging", "surface")
    first, second = brief.precharge.load
    assert (first.name, first.resistance.number, first.power.value) == ("heater", 47e3, None)
    assert (second.name, second.power.number, second.wakes_at.number) == ("load 2", 30, 180)
    assert [u.dotted for u in brief.unknowns if u.key.section == "precharge.load"] == [
        "precharge.load[0].wakes_at"]


@pytest.mark.parametrize("written_date", ["2025-03-31", '"2025-03-31"'])
def test_date_of_issue(written_date: str) -> None:
    assert brief_of(f"date_of_issue = {written_date}\n{FOUR}").date_of_issue == "2025-03-31"
    assert brief_from_data(data_with("power.peak", "1 kW")
                           | {"date_of_issue": datetime.date(2025, 3, 31)}
                           ).date_of_issue == "2025-03-31"


def test_digest_follows_the_text_and_not_its_line_ends(tmp_path) -> None:
    first, second, third = (tmp_path / name for name in "abc")
    first.write_bytes(FOUR.encode())
    second.write_bytes(b"\xef\xbb\xbf" + FOUR.replace("\n", "\r\n").encode())
    third.write_bytes(FOUR.replace("120", "121").encode())
    digests = [read_brief(path).digest for path in (first, second, third)]
    assert digests[0] == digests[1] != digests[2]
    assert all(len(digest) == 17 for digest in digests)
    data = parse_toml(FOUR, "b")
    assert brief_from_data(data).digest == brief_from_data(dict(reversed(data.items()))).digest


def test_a_brief_is_frozen() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        brief_of(FOUR).title = "other"  # type: ignore[misc]


# -- between entries: on and just beyond ------------------------------------------------------

PAIRS = {
    "absolute maximum": ('[inverter]\nvoltage_range = "260 V to 430 V"\nabsolute_maximum = "{} V"',
                         "430", "429.9", "lies below"),
    "full power, low end": ('[inverter]\nvoltage_range = "260 V to 430 V"\n'
                            'full_power_from = "{} V"', "260", "259.9", "lies below"),
    "full power, high end": ('[inverter]\nvoltage_range = "260 V to 430 V"\n'
                             'full_power_from = "{} V"', "430", "430.1", "lies above"),
    "continuous": ('[power]\npeak = "120 kW"\ncontinuous = "{} kW"', "120", "120.1", "lies below"),
    "charge": ('[battery]\ncharge_highest = "55 %"\ncharge_lowest = "{} %"', "54.9", "55",
               "does not lie above"),
    "temperature": ('[battery]\nhottest = "22 degC"\ncoldest_start = "{} degC"', "21.9", "22",
                    "does not lie above"),
    "energy": ('[battery]\nenergy_most = "60 kWh"\nenergy_least = "{} kWh"', "60", "60.1",
               "lies below"),
    "regeneration": ('[regeneration]\nvoltage_limit = "{} V"', "260", "259.9", "lies below"),
    "time-out": ('[precharge]\ntimeout = "4 s"\ntime_limit = "{} s"', "4", "4.1", "lies below"),
    "terminals in their air": ('[surroundings]\ncable_ambient = "70 degC"\n[[cables.route]]\n'
                               'terminal_limit = "{} degC"', "70.1", "70", "does not lie above"),
    "insulation in its air": ('[surroundings]\ncable_ambient = "70 degC"\n[[cables.route]]\n'
                              'insulation_class = "{} degC"', "70.1", "70", "does not lie above"),
    "joints and terminals": ('[[cables.route]]\nterminal_limit = "150 degC"\n'
                             'joint_limit = "{} degC"', "150", "149.9", "lies below"),
}


@pytest.mark.parametrize("name", PAIRS)
def test_order_between_entries(name: str) -> None:
    form, holds, breaks, words = PAIRS[name]
    base = FOUR
    for own in ("[inverter]\n", "[power]\n"):
        if form.startswith(own):  # the form brings that section itself
            before, after = FOUR.split(own)
            base = before + "\n".join(after.splitlines()[1:]) + "\n"
    assert brief_of(base + form.format(holds))
    (fault,) = faults_of(base + form.format(breaks))
    assert words in fault and "mend one of the two" in fault and ", line " in fault


def test_names_of_routes_and_loads_are_distinct() -> None:
    (fault,) = faults_of(FOUR + '[[cables.route]]\nname = "a"\n[[cables.route]]\nname = "a"\n')
    assert fault == ("b.toml:12: cables.route[1].name: the name 'a' stands already on line 9; "
                     "give each its own, apart in letters or digits")


# -- one entry changed ------------------------------------------------------------------------


def test_with_value_replaces_one_entry_in_a_copy() -> None:
    brief = brief_of(FOUR)
    tried = with_value(brief, "cables.route[0].length", 2.0)
    assert tried.cables.route[0].length.number == 2.0
    assert tried.cables.route[0].length.basis == "assumed"
    assert brief.cables.route[0].length.number == 5.0
    assert dataclasses.replace(tried, cables=brief.cables) == brief
    assert with_value(brief, "modules[0].state_of_health", 0.9).modules[0] \
        .state_of_health.number == 0.9
    assert with_value(brief, "regeneration.follows_charge_limit", "yes").regeneration \
        .follows_charge_limit == "yes"


def test_every_unknown_with_a_lucky_answer_can_be_tried() -> None:
    brief = brief_of(FOUR)
    for unknown in brief.unknowns:
        if unknown.other is not None:
            assert with_value(brief, unknown.dotted, unknown.other) != brief


@pytest.mark.parametrize("dotted", ["", "nope", "inverter", "cables.route[1].length", "title[0]",
                                    "power.peak.value", "modules.count",
                                    "power!.peak", ".power.peak", "modules[0][0].count"])
def test_with_value_refuses_what_is_no_entry(dotted: str) -> None:
    with pytest.raises(UnknownName, match="unknown entry of the brief"):
        with_value(brief_of(FOUR), dotted, 1.0)


def test_own_figures_stand_over_a_record():
    brief = brief_from_data({
        "modules": [{"record": "lto-24s-46ah", "count": 12, "rest_voltages": {
            "20 %": "2.16 V", "50 %": "2.22 V", "80 %": "2.35 V"}, "resistance": "9 mΩ"}],
        "inverter": {"voltage_range": "200 V to 420 V"}, "power": {"peak": "40 kW"}})
    module = brief.modules[0].module
    assert not module.needs_bench
    assert module.resistance_high.leaves()[0].basis == "given"
    assert module.capacity.basis == "invented"

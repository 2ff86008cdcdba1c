"""What a newcomer met who wrote a brief from the starter alone: invented modules throughout."""

from __future__ import annotations

import tomllib

import pytest

from packcalc.bench_keys import OPTIONAL_KEYS
from packcalc.brief import Brief
from packcalc.brief_keys import KEYS, MODULE_RESISTANCE
from packcalc.brief_keys import key as key_of
from packcalc.errors import InputErrors, UnitError
from packcalc.next_steps import find_next
from packcalc.reading.brief_file import brief_from_data, read_brief
from packcalc.reading.brief_sections import DERIVED
from packcalc.reading.modules import FIGURES, WORDS
from packcalc.reading.modules import KEYS as MODULE_KEYS
from packcalc.reading.template import describe_keys, starter_brief
from packcalc.reading.what_if import with_value
from packcalc.report.brief_report import check_document, inputs_table, next_table
from packcalc.report.text import render
from packcalc.study import list_layouts
from packcalc.units import parse, parse_range

LABEL = "6s 240 Ah NMC"
FOUR = f"""[[modules]]
label = "{LABEL}"
count = 18
[inverter]
voltage_range = "240 V to 420 V"
[power]
peak = "50 kW"
"""
MINE = """id = "mine-6s"
title = "my own six, invented"
chemistry = "NMC"
cells_in_series = 6
capacity = "240 Ah"
resistance = "1.9 mΩ"
resistance_pulse = "10 s"
resistance_temperature = "25 degC"
resistance_charge = "50 %"
mass = "32 kg"
"""


def brief_of(text: str) -> Brief:
    return brief_from_data(tomllib.loads(text), "b.toml", text)


def faults_of(text: str) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        brief_of(text)
    return [str(fault) for fault in caught.value.faults]


# -- A: the starter has a place for every entry -----------------------------------------------


def names_in(section: str) -> set[str]:
    """Names of the entries that the starter writes under a section's head, marked or not."""
    found: set[str] = set()
    inside = False
    for line in starter_brief().splitlines():
        bare = line.lstrip("# ")
        if bare.startswith("["):
            inside = bare.strip("[]") == section
        name, sign, _ = bare.partition(" = ")
        if inside and sign and name.replace("_", "").isalnum():
            found.add(name)
    return found


@pytest.mark.parametrize("name", MODULE_KEYS)
def test_the_starter_writes_every_entry_of_a_module(name: str) -> None:
    assert name in names_in("modules")


@pytest.mark.parametrize("section", dict.fromkeys(k.section for k in (*KEYS, *OPTIONAL_KEYS)))
def test_the_starter_writes_every_entry_of_the_schema(section: str) -> None:
    wanted = {k.name for k in (*KEYS, *OPTIONAL_KEYS) if k.section == section}
    assert wanted <= names_in(section)


def test_the_reference_table_holds_the_entries_of_a_module() -> None:
    lines = {line.dotted: line for line in describe_keys()}
    for name, figure in FIGURES.items():
        assert lines[f"modules.{name}"].title == figure.title
    assert {f"modules.{name}" for name in WORDS} <= set(lines)


def test_module_entries_of_the_starter_are_a_module_once_their_marks_are_gone() -> None:
    lines = []
    for line in starter_brief().splitlines():
        bare = line.removeprefix("# ")
        name = bare.partition(" = ")[0]
        own = name in (*FIGURES, *WORDS) and line != bare and f"  # {title_of(name)}" in bare
        lines += [] if line.startswith("label = ") else [bare if own else line]
    text = "\n".join(lines)
    module = brief_of(text).modules[0].module
    assert {name for name in FIGURES if not name.startswith("resistance")
            and not getattr(module, name).known} == set()
    assert module.id == "mine-12s" and not module.resistance_of_class


def title_of(name: str) -> str:
    return FIGURES[name].title if name in FIGURES else WORDS[name][0]


# -- B: what to find next of a module of which only the label is known -------------------------


def test_growth_of_a_module_without_a_record_can_be_answered() -> None:
    find = key_of("modules.resistance_growth").find
    for word in ("resistance,", "resistance_pulse", "resistance_temperature", "resistance_charge"):
        assert word in find
    assert "write 1 here" in find and "record" not in find


def test_the_resistance_of_a_label_is_among_what_to_find_next() -> None:
    brief = brief_of(FOUR)
    steps = find_next(brief, list_layouts(brief).misses[0].layout)
    assert "modules[0].resistance" in [s.unknown.dotted for s in steps[:3]]
    measured = brief_of(FOUR.replace("count", 'resistance = "1.9 mΩ"\ncount'))
    assert not any(u.key is MODULE_RESISTANCE for u in measured.unknowns)


def test_a_tried_resistance_is_that_of_the_module() -> None:
    tried = with_value(brief_of(FOUR), "modules[0].resistance", 2e-3)
    assert tried.modules[0].module.resistance_high.number == 2e-3
    assert tried.modules[0].module.resistance_high.basis == "assumed"


# -- C: an assumption is not called the safe side ----------------------------------------------

# Why no true answer can ask for more than what counts while the entry is open.
BOUNDS = {
    "inverter.absolute_maximum": "never below the highest operating voltage",
    "regeneration.follows_charge_limit": "braking in full",
    "battery.charge_highest": "full cells",
    "battery.coldest_start": "nothing colder is read",
    "battery.coldest_closed": "nothing colder is read",
    "path.link_material": "stands less than copper",
    "path.insulation_monitor": "none",
    "path.charge_contactor": "none",
    "insulation.pollution_degree": "the highest that is read",
    "insulation.material_group": "the weakest",
    "management.monitor_order": "runs on across everything",
    "management.sense_fuse": "none",
    "management.trip_falls_in_cold": "fixed",
    "cables.route.install": "the hottest way of laying",
    "branch.fused_poles": "one alone",
    "branch.taps": "nothing between pack and branch",
}
# Choices of ours among equals, which say so themselves.
CHOSEN = {"path.main_fuse": "our assumption", "cables.rules": "our choice"}


@pytest.mark.parametrize("dotted", [k.dotted for k in KEYS
                                    if k.safe is not None or k.dotted in DERIVED])
def test_what_counts_while_open_is_a_bound_or_says_that_it_is_none(dotted: str) -> None:
    key = key_of(dotted)
    if dotted in CHOSEN:
        assert CHOSEN[dotted] in key.consequence
    else:
        assert bool(key.doubt) != (dotted in BOUNDS)
    if dotted in BOUNDS and key.dimension != "words" and dotted not in DERIVED:
        assert key.safe in (key.least, key.most)


@pytest.mark.parametrize("key", KEYS, ids=lambda k: k.dotted)
def test_no_entry_claims_a_safe_side(key) -> None:
    assert "safe" not in f"{key.consequence} {key.find} {key.title}".lower()


@pytest.mark.parametrize("dotted,most", [
    ("power.continuous", 50e3), ("regeneration.power", 50e3), ("charger.power", 43e3),
    ("surroundings.box_ambient", 343.15)])
def test_an_answer_that_asks_for_more_is_said_to_be_possible(dotted: str, most: float) -> None:
    brief = brief_of(FOUR)
    assert dict(brief.entries())[dotted].number < most
    words = "our assumption; a higher true value asks for more"
    for table in (next_table(brief, None), next_table(brief, list_layouts(brief).misses[0].layout)):
        row = next(r for r in table.rows if r[0].text == dotted)
        taken = [c.key for c in table.columns].index("taken")
        assert row[taken].text.endswith(words)
    noted = next(r for r in inputs_table(brief).rows if r[0].text == dotted)
    assert noted[-1].text.endswith(words)
    assert words in " ".join(starter_brief().replace("#", " ").split())


def test_check_calls_nothing_the_safe_side() -> None:
    page = " ".join(render(check_document(brief_of(FOUR))).split())
    assert "safe side" not in page
    assert "a true value beyond it asks for more" in page


# -- D: a record of the user's own -------------------------------------------------------------


def own(tmp_path, name: str = "mine.toml", record: str = MINE, more: str = "") -> Brief:
    (tmp_path / "mine.toml").write_text(record, "utf-8")
    path = tmp_path / "brief.toml"
    path.write_text(FOUR.replace(f'label = "{LABEL}"', f'record = "{name}"\n{more}'), "utf-8")
    return read_brief(path)


def test_a_record_of_ones_own_is_named_by_its_file(tmp_path) -> None:
    module = own(tmp_path).modules[0].module
    assert (module.id, module.resistance_high.number) == ("mine-6s", 1.9e-3)
    assert module.mass.basis == "given"
    assert str(module.mass.origin) == "mine.toml:10 mass = 32 kg"


def test_figures_of_the_brief_stand_over_it(tmp_path) -> None:
    module = own(tmp_path, more='mass = "33 kg"').modules[0].module
    assert module.mass.number == 33 and module.mass.origin.key == "modules[0].mass"


def test_its_text_is_part_of_the_digest(tmp_path) -> None:
    first = own(tmp_path).digest
    assert own(tmp_path).digest == first
    assert own(tmp_path, record=MINE.replace("32 kg", "34 kg")).digest != first


def test_its_faults_are_told_in_its_own_lines_beside_those_of_the_brief(tmp_path) -> None:
    with pytest.raises(InputErrors) as caught:
        own(tmp_path, record=MINE.replace("32 kg", "2 kg"), more='chrge_rate = 1')
    told = "\n".join(str(fault) for fault in caught.value.faults)
    assert f"{tmp_path / 'mine.toml'}:10: mass:" in told and "Wh/kg" in told
    assert "modules[0].chrge_rate: unknown key; did you mean 'charge_rate'?" in told


@pytest.mark.parametrize("name,words", [
    ("mine-6s", 'a record of your own is named by its file, like "mine.toml"'),
    ("mien.toml", "does not exist"), ("../mine.toml", "does not exist")])
def test_a_record_that_is_not_there(tmp_path, name: str, words: str) -> None:
    with pytest.raises(InputErrors) as caught:
        own(tmp_path, name)
    (fault,) = caught.value.faults
    assert (fault.line, fault.key) == (2, "modules[0].record") and words in str(fault)


# -- E: letters that only look alike -----------------------------------------------------------


@pytest.mark.parametrize("line,odd", [
    (f'label = "{LABEL}"|label = "6s 240 \u0410h NMC"', "U+0410"),
    (f'label = "{LABEL}"|label = "6\u0455 240 Ah NMC"', "U+0455"),
    (f'label = "{LABEL}"|label = "6s 240 Ah N\u041cC"', "U+041C"),
    (f'label = "{LABEL}"|record = "nmc-6s-240\u0430h"', "U+0430"),
    (f'label = "{LABEL}"|chemistry = "N\u041cC"\ncells_in_series = 6\ncapacity = "240 Ah"',
     "U+041C"),
    ('[[modules]]|arrangement = "gr\u043euped"\n[[modules]]', "U+043E"),
    ('[power]|[battery]\ncoldest_start = "-5 \u00baC"\n[power]', "U+00BA"),
    ('"50 kW"|"50 \u043aW"', "U+043A"),
])
def test_a_letter_that_only_looks_alike_is_named(line: str, odd: str) -> None:
    (fault,) = faults_of(FOUR.replace(*line.split("|")))
    assert "holds" in fault and odd in fault


# -- F: a 12 V inverter ------------------------------------------------------------------------


def test_the_range_of_a_small_inverter_is_read() -> None:
    brief = brief_of(FOUR.replace("240 V to 420 V", "10.5 V to 16 V"))
    assert (brief.inverter.voltage_low.number, brief.inverter.voltage_high.number) == (10.5, 16)
    (fault,) = faults_of(FOUR.replace("240 V to 420 V", "0.4 V to 420 V"))
    assert "8 to 1500 V" in fault


# -- H: messages -------------------------------------------------------------------------------


def test_full_power_above_the_range_is_told_where_it_stands() -> None:
    text = FOUR.replace("[power]", 'full_power_from = "430 V"\n[power]')
    (fault,) = faults_of(text)
    assert fault == ("b.toml:6: inverter.full_power_from: voltage below which full power is not "
                     "available 430 V lies above inverter's operating voltage range, highest "
                     "(420.0 V, line 5); mend one of the two")


@pytest.mark.parametrize("raw", ["true", "nan", "1" + "0" * 30, '"many"'])
def test_a_count_is_shown_as_a_count(raw: str) -> None:
    (fault,) = faults_of(FOUR.replace("count = 18", f"count = {raw}"))
    assert 'write it like "16"' in fault and "1.25" not in fault


@pytest.mark.parametrize("line", ['peak = "unknow"', 'peak = "unkown"', 'peak = "Unknwon"'])
def test_a_misspelt_unknown_is_asked_about(line: str) -> None:
    (fault,) = faults_of(FOUR.replace('peak = "50 kW"', line))
    assert "did you mean 'unknown'?" in fault


@pytest.mark.parametrize("entry", ['[inverter]\nvoltage_range = "unknow"',
                                   'arrangement = "unknow"\n[inverter]\nvoltage_range = "unknown"'])
def test_a_misspelt_unknown_in_ranges_and_choices(entry: str) -> None:
    text = entry + "\n" + FOUR.replace('[inverter]\nvoltage_range = "240 V to 420 V"\n', "")
    (fault,) = faults_of(text)
    assert "did you mean 'unknown'?" in fault


@pytest.mark.parametrize("text", ["240\u2013420 V", "240-420 V", "240 V - 420 V", "240 to 420 V",
                                  "240 V..420 V", "240\u2014420 V"])
def test_a_range_with_a_dash_is_offered_in_full(text: str) -> None:
    with pytest.raises(UnitError, match='did you mean "240 V to 420 V"'):
        parse_range(text, "voltage")


# -- I: faults inside a section whose name slipped ----------------------------------------------


def test_what_stands_in_a_misspelt_section_is_judged_too() -> None:
    told = faults_of(FOUR + '[batery]\nchage_lowest = "10 %"\nhottest = "40 kWh"\n')
    assert len(told) == 3
    assert "b.toml:8: batery: unknown key; did you mean 'battery'?" in told
    assert "b.toml:9: batery.chage_lowest: unknown key; did you mean 'charge_lowest'?" in told
    assert told[2].startswith("b.toml:10: batery.hottest:") and "is an energy" in told[2]


def test_a_misspelt_list_is_judged_too_and_nothing_is_called_missing() -> None:
    told = faults_of(FOUR.replace("[[modules]]", "[[module]]").replace("count = 18", "count = 0")
                     .replace("[power]", "[powr]"))
    assert [fault.split(": ")[1] for fault in told] == ["module", "module[0].count", "powr"]


def test_names_in_a_misspelt_section_that_a_brief_need_not_have() -> None:
    told = faults_of(FOUR + '[bnch]\ncapcity_warn = "80 %"\n[donr]\ncrsh = "no"\n')
    assert [fault.split(": ")[1] for fault in told] == [
        "bnch", "bnch.capcity_warn", "donr", "donr.crsh"]


# -- J, K --------------------------------------------------------------------------------------


def test_the_starters_disconnect_stands_inside_its_own_layout() -> None:
    brief = brief_of(starter_brief())
    layout = list_layouts(brief).layout(0)
    example = next(line for line in describe_keys() if line.dotted == "pack.disconnect_after")
    assert 0 < int(example.example) < min(part.series for part in layout.parts)


@pytest.mark.parametrize("text,dim,words", [
    ("5 Ah", "energy", "is a charge, not an energy"),
    ("5 kWh", "charge", "is an energy, not a charge"),
    ("5 kWh", "area", "is an energy, not an area")])
def test_articles(text: str, dim: str, words: str) -> None:
    with pytest.raises(UnitError, match=words):
        parse(text, dim)

"""The starter brief and the reference table of the brief's format, both from the schema.

Nothing about an entry is written twice: meaning, consequence of `unknown` and where to
find the figure come from `packcalc.brief_keys.KEYS`; only examples and the few entries that are
plain words stand here.
"""

from __future__ import annotations

import os
import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path

from packcalc.brief_keys import (
    BRANCH_CHOICES, CARRIES_CHOICES, HOW_REST, MODULE_RESISTANCE, NO_CONNECTOR,
)
from packcalc.entry_key import Key
from packcalc.errors import OutputError
from packcalc.reading.bench_template import (
    ABOUT,
    OPTIONAL_PLAIN,
    OPTIONAL_SECTIONS,
    optional_example,
)
from packcalc.reading.brief_file import ARRANGEMENT_CHOICES, MIX_CHOICES
from packcalc.reading.brief_lists import ASSUMED_ROUTE, KIND_CHOICES
from packcalc.reading.entries import keys_of, span
from packcalc.reading.modules import FIGURES, WORDS
from packcalc.reading.positions import one_line
from packcalc.reading.trip_points import EXAMPLE as TRIP_EXAMPLE
from packcalc.reading.trip_points import NAME as TRIP_POINTS
from packcalc.value import value_object

FILE_NAME = "brief.toml"
WIDTH = 96

EXAMPLES: dict[str, str] = {
    "modules.count": "16",
    "modules.state_of_health": '"85 %"',
    "modules.resistance_growth": "1.3",
    "modules.conductor_section": '"60 mm²"',
    "modules.conductor_withstand": '"40000000 A²s"',
    "inverter.voltage_range": '"260 V to 450 V"',
    "inverter.absolute_maximum": '"470 V"',
    "inverter.full_power_from": '"300 V"',
    "inverter.dc_link_capacitance": '"1.0 mF"',
    "inverter.dc_link_tolerance": '"10 %"',
    "inverter.capacitor_rating": '"500 V"',
    "inverter.semiconductor_rating": '"650 V"',
    "inverter.overvoltage_reaction": '"0.2 ms"',
    "inverter.torque_zero_time": '"50 ms"',
    "inverter.discharge_resistance": '"22 kΩ"',
    "inverter.discharge_tolerance": '"5 %"',
    "power.peak": '"50 kW"',
    "power.peak_duration": '"10 s"',
    "power.continuous": '"25 kW"',
    "power.peaks_in_life": "50000",
    "regeneration.power": '"20 kW"',
    "regeneration.duration": '"5 s"',
    "regeneration.voltage_limit": '"420 V"',
    "regeneration.follows_charge_limit": '"yes"',
    "charger.power": '"6.6 kW"',
    "charger.tolerance": '"0.5 %"',
    "charger.voltage_range": '"200 V to 450 V"',
    "battery.energy_least": '"30 kWh"',
    "battery.energy_most": '"80 kWh"',
    "battery.charge_lowest": '"20 %"',
    "battery.charge_highest": '"95 %"',
    "battery.coldest_start": '"5 degC"',
    "battery.coldest_closed": '"-10 degC"',
    "battery.hottest": '"40 degC"',
    "battery.mass_most": '"600 kg"',
    "surroundings.box_ambient": '"45 degC"',
    "surroundings.cable_ambient": '"50 degC"',
    "path.link_resistance": '"0.08 mΩ"',
    "path.fuse_resistance": '"0.3 mΩ"',
    "path.contactor_resistance": '"0.3 mΩ"',
    "path.link_section": '"90 mm²"',
    "path.link_material": '"copper"',
    "path.link_limit": '"160 degC"',
    "path.string_cable_length": '"0 m"',
    "path.string_cable_section": '"50 mm²"',
    "path.main_fuse": '"both poles"',
    "path.insulation_monitor": '"warns"',
    "path.charge_contactor": '"both poles"',
    "path.charge_difference": '"15 V"',
    "motor.back_voltage": '"380 V"',
    "motor.short_circuit_current": '"900 A"',
    "station.voltage": '"500 V"',
    "station.current": '"125 A"',
    "station.capacitance": '"0.05 mF"',
    "pack.disconnect_after": "4",
    "pack.fuse_after": "0",
    "insulation.pollution_degree": "2",
    "insulation.material_group": '"IIIa"',
    "insulation.overvoltage_category": '"II"',
    "insulation.altitude": '"1200 m"',
    "insulation.y_capacitance": '"0.3 µF"',
    "insulation.module_resistance": '"50 MΩ"',
    "insulation.creepage": '"9 mm"',
    "insulation.clearance": '"8 mm"',
    "insulation.bus_withstand": '"1200 V"',
    "management.channels_per_monitor": "12",
    "management.monitor_order": '"restarts at each module"',
    "management.sense_fuse": '"yes"',
    "management.temperature_sensors": "32",
    "management.overvoltage_trip": '"4.22 V"',
    "management.undervoltage_trip": '"2.8 V"',
    "management.voltage_delay": '"1 s"',
    "management.overtemperature_trip": '"55 degC"',
    "management.trip_current": '"400 A"',
    "management.trip_delay": '"0.2 s"',
    "management.trip_blocked_above": '"1500 A"',
    "management.trip_falls_in_cold": '"yes"',
    "management.overload_trip": '"180 A"',
    "management.overload_delay": '"20 s"',
    "management.current_sensor_range": '"1200 A"',
    "management.current_sensor_error": '"1 %"',
    "management.balance_current": '"200 mA"',
    "management.self_discharge_spread": '"1 %"',
    "management.isolation_warn": '"250 kΩ"',
    "management.isolation_trip": '"60 kΩ"',
    "management.crash_open_time": '"200 ms"',
    "strings.mismatch": '"10 %"',
    "strings.voltage_error": '"0.3 V"',
    "strings.trip_current": '"400 A"',
    "strings.trip_delay": '"0.1 s"',
    "strings.sensor_range": '"800 A"',
    "cables.rules": '"IEC 60364-5-52"',
    "cables.voltage_drop_limit": '"3 %"',
    "cables.route.length": '"3.5 m"',
    "cables.route.install": '"surface"',
    "cables.route.grouped_circuits": "1",
    "cables.route.insulation_class": '"125 degC"',
    "cables.route.terminal_limit": '"85 degC"',
    "cables.route.joint_limit": '"180 degC"',
    "branch.power": '"3 kW"',
    "branch.current": '"9 A"',
    "branch.length": '"2.5 m"',
    "branch.tap_length": '"80 mm"',
    "branch.section": '"4 mm²"',
    "branch.insulation_voltage": '"1000 V"',
    "branch.insulation_class": '"105 degC"',
    "branch.fuse_rating": '"20 A"',
    "branch.fused_poles": '"both"',
    "branch.taps": '"behind the contactors"',
    "branch.capacitance": '"0.05 mF"',
    "branch.wakes_at": '"180 V"',
    "branch.input_voltage": '"900 V"',
    "precharge.level": '"96 %"',
    "precharge.time_limit": '"1.5 s"',
    "precharge.timeout": '"4 s"',
    "precharge.tries": "2",
    "precharge.resistor_tolerance": '"5 %"',
    "precharge.load.resistance": '"47 kΩ"',
    "precharge.load.power": '"30 W"',
    "precharge.load.wakes_at": '"180 V"',
}

# What the starter's scenario states besides the required entries, each marked as an example:
# with charge and cold left open, no layout of its modules would carry its load, and the first
# run would show near misses alone. A protective part is never stated: nobody has looked.
STATED = ("battery.charge_lowest", "battery.coldest_start")
MARK = "  # example value: change it"

# Plain words that the starter shows as a comment: they name a record or a list of the user's.
LEFT_OUT = ("record", "cable", "rest_voltages", TRIP_POINTS)


@value_object
class Plain:
    """An entry that is plain words and so has no quantity in the schema."""

    section: str
    name: str
    title: str
    example: str
    form: str
    absent: str
    find: str = ""


PLAIN: tuple[Plain, ...] = (
    Plain("", "title", "title of the report", '"Starter scenario, invented"', "text", "no title"),
    Plain("", "date_of_issue", "date that the report carries", "2025-03-31", "date",
          "the report carries no date"),
    Plain("", "note", "a remark that the report carries", '"first try"', "text", "no remark"),
    Plain("", "mix", "how two module types may stand in one pack: not at all, in one string, "
          "side by side", '"series"', " | ".join(MIX_CHOICES), "no"),
    Plain("", "arrangement", "whether modules are paralleled first (grouped) or strings of "
          "modules (strings)", '"grouped"', " | ".join(ARRANGEMENT_CHOICES), "either"),
    Plain("modules", "label", "what stands on the module: cells in series, capacity, chemistry",
          '"12s 160 Ah NMC"', "text", "needed, or a record, or the figures one by one"),
    Plain("modules", "record", "instead of a label: a record of the library by its id, or one of "
          "your own by its file beside this brief, like \"mine.toml\"", '"…"', "text",
          "the label counts"),
    Plain("modules", "rest_voltages", "rest voltages of one cell at three charges; LMO and LTO "
          "modules are not tried without them, for all others they come before the class's curves",
          '{ "20 %" = "3.55 V", "50 %" = "3.70 V", "80 %" = "3.99 V" }', "table",
          "the published curves of the class count; LMO and LTO are not tried", HOW_REST),
    Plain("management", TRIP_POINTS, "over-current trip, discharging, where its setting follows "
          "the cells' temperature, in place of trip_current: points of temperature and current, "
          "coldest first", f'"{TRIP_EXAMPLE}"', "points, temperature: current",
          "trip_current counts at every temperature",
          "management system's table of current limits; give it from coldest_closed to hottest: "
          "between two points the higher counts against a fault, the lower against a load, and "
          "nothing outside"),
    Plain("cables.route", "name", "name of the route", f'"{ASSUMED_ROUTE}"', "text",
          "numbered in order"),
    Plain("cables.route", "carries", "current that the route carries", '"traction"',
          " | ".join(CARRIES_CHOICES), CARRIES_CHOICES[0]),
    Plain("cables.route", "cable", "the route's cable by its name in the parts list", '"…"',
          "text", "the sections of the table alone"),
    Plain("parts", "file", "the parts list, a CSV file beside the brief", '"parts.csv"', "text",
          "no data sheet is counted: every part stays a request for data"),
    Plain("parts", "main_fuse", "the main fuse by its name in the list", '"…"', "text",
          "every fuse of the list is tried"),
    Plain("parts", "string_fuse", "the fuse of each string by its name in the list", '"…"', "text",
          "every fuse of the list is tried"),
    Plain("parts", "contactor", "the main contactor by its name in the list", '"…"', "text",
          "every contactor of the list is tried"),
    Plain("parts", "string_contactor", "the contactors of each string by their name in the list",
          '"…"', "text", "every contactor of the list is tried"),
    Plain("parts", "resistor", "the pre-charge resistor by its name in the list", '"…"', "text",
          "every resistor of the list is tried"),
    Plain("parts", "disconnect", "the service disconnect by its name in the list", '"…"', "text",
          "every disconnect of the list is tried"),
    Plain("parts", "mid_fuse", "the mid-pack fuse by its name in the list", '"…"', "text",
          "a mid-pack fuse is not shown to open anything, unless it is the main fuse"),
    Plain("parts", "charge_contactor", "the charge contactor by its name in the list", '"…"',
          "text", "a charge contactor stays a request for data"),
    Plain("parts", "precharge_relay", "the pre-charge relay by its name in the list, a contactor",
          '"…"', "text", "the pre-charge relay stays a request for data"),
    Plain("parts", "connector", "the connectors of the main path by their name in the list, one in "
          "each lead; \"none\" where there are none", f'"{NO_CONNECTOR}"', "text",
          "every connector of the list is tried, and a lowest fault is not shown to be cleared: "
          "contacts take from it"),
    Plain("parts", "management_system", "the management system by its name in the list", '"…"',
          "text", "the management system stays a request for data"),
    Plain("branch", "name", "name of the branch", '"cabin heater"', "text", "numbered in order"),
    Plain("branch", "kind", "what the branch feeds", '"heater"', " | ".join(BRANCH_CHOICES),
          "needed for every branch"),
    Plain("branch", "fuse_part", "the branch fuse's name in the parts list", '"…"', "text",
          "no data sheet is counted"),
    Plain("precharge.load", "name", "name of the load", '"heater electronics"', "text",
          "numbered in order"),
    Plain("precharge.load", "kind", "how the load draws", '"constant power"',
          " | ".join(KIND_CHOICES), "needed for every load"),
)

SECTIONS: dict[str, str] = {
    "modules": "[[modules]]", "inverter": "[inverter]", "power": "[power]",
    "regeneration": "[regeneration]", "charger": "[charger]", "battery": "[battery]",
    "surroundings": "[surroundings]", "path": "[path]", "motor": "[motor]",
    "station": "[station]", "pack": "[pack]", "insulation": "[insulation]",
    "management": "[management]", "strings": "[strings]", "cables": "[cables]",
    "cables.route": "[[cables.route]]", "parts": "[parts]", "branch": "[[branch]]",
    "precharge": "[precharge]",
    "precharge.load": "[[precharge.load]]",
}


@value_object
class KeyLine:
    """One line of the reference table of the brief.

    Attributes:
        dotted: where it stands.
        title: what it means.
        form: dimension with its printed unit, or the choices.
        example: as written in the file.
        plausible: span outside which it is a fault, or "".
        unknown: what `unknown` or leaving it out means.
        find: where to read it or how to measure it.
        required: no first answer without it.
    """

    dotted: str
    title: str
    form: str
    example: str
    plausible: str
    unknown: str
    find: str
    required: bool


def describe_keys() -> list[KeyLine]:
    """Every entry of the brief, section by section, plain words first."""
    lines: list[KeyLine] = []
    lines += [KeyLine(f"modules.{name}", title, form, example, "", ABSENT, "", False)
              for name, title, example, form in _module_figures()]
    for section in ("", *SECTIONS):
        lines += [KeyLine(f"{p.section}.{p.name}".strip("."), p.title, p.form, p.example, "",
                          p.absent, p.find, False) for p in PLAIN if p.section == section]
        lines += [_key_line(key) for key in keys_of(section)]
    for section in OPTIONAL_SECTIONS:
        lines += [KeyLine(f"{section}.{name}", title, form, example, "", absent, "", False)
                  for own, name, title, example, form, absent in OPTIONAL_PLAIN if own == section]
        lines += [_key_line(key) for key in keys_of(section)]
    return lines


def _key_line(key: Key) -> KeyLine:
    form = " | ".join(key.choices) or f"{key.dimension}{' range' if key.pair else ''}"
    unknown = "needed for a first answer: write it, or the word; nothing is tried without it" \
        if key.required else "; ".join(filter(None, (key.consequence, key.doubt)))
    if key.section == "precharge.load" and key.dimension in ("resistance", "power"):
        unknown = f"needed for a {KIND_CHOICES[key.dimension == 'power']} load"
    return KeyLine(key.dotted, key.title, form, _example(key), span(key), unknown,
                   key.find, key.required)


def _example(key: Key) -> str:
    return EXAMPLES.get(key.dotted) or optional_example(key)


def _optional_lines(section: str, header: str) -> Iterator[str]:
    """A section that a brief need not have, every line behind a mark."""
    yield from _comment(ABOUT[section])
    yield f"# {header}"
    for own, name, title, example, *_ in OPTIONAL_PLAIN:
        if own == section:
            yield f"# {name} = {example}  # {title}"
    for key in keys_of(section):
        yield f"# {key.name} = {_example(key)}"


# -- the starter ------------------------------------------------------------------------------

_HEAD = (
    "A brief for packcalc, ready to run. The scenario is INVENTED: a small delivery truck that "
    "never existed. Put your own figures in its place.",
    "Quantities are texts with a unit: \"260 V\", \"1.2 mΩ\" or \"1.2 mohm\", \"-20 degC\", "
    "\"85 %\". Decimal point, no thousands marks. Four entries give a first answer: which module, "
    "how many, the inverter's voltage range, peak power. These four, and the coldest cells and the "
    "lowest charge under [battery], hold example values: change all six before you believe a "
    "result.",
    "\"unknown\" is an answer: the figure said beside it then counts. Where it says \"our "
    "assumption\", a true value beyond it asks for more; the report lists what to find next. "
    "Leaving an entry out means the same.",
)
_LOADS = ("Loads that stay on the bus during pre-charge, such as a heater's electronics. Take away "
          "one mark before each line of this section and repeat it for every load. A load is "
          "either \"resistive\" with a resistance, or of \"constant power\" with a power.")
_BRANCHES = ("Branches: every smaller conductor that leaves the pack or its bus, sense and monitor "
             "wires too. Take away one mark before each line of this section and repeat it for "
             "every branch; a branch has its power or its current.")
_FIGURES = ("Figures of the module itself, from its plate, its data sheet or your bench. Take away "
            "the mark before a line, and it counts in place of what the record or the class says. "
            "Chemistry, cells_in_series and capacity stand in place of a label, never beside it.")
ABSENT = "what the label, the record or the class says counts"
_ROUTES = "One [[cables.route]] for every run of cable; repeat the section for more."


def starter_brief(cautions: Sequence[str] = ()) -> str:
    """A commented brief that runs as it stands.

    Args:
        cautions: the high-voltage cautions, printed as comments near the head.
    """
    lines: list[str] = []
    for paragraph in (_HEAD[0], *cautions, *_HEAD[1:]):
        lines += [*_comment(paragraph), "#"]
    lines[-1] = ""
    lines += [*_plain_lines("")]
    for section, header in SECTIONS.items():
        body = [header, *_plain_lines(section), *_quantity_lines(section)]
        if section == "modules":
            body += ["", *_module_lines()]
        if section == "branch":
            body = [*_comment(_BRANCHES), *(f"# {line}".rstrip() for line in body)]
        if section == "precharge.load":
            body = [*_comment(_LOADS), *(f"# {line}".rstrip() for line in body)]
        if section == "cables.route":
            body = [*_comment(_ROUTES), *body]
        if section == "precharge":
            for optional, head in OPTIONAL_SECTIONS.items():
                lines += ["", *_optional_lines(optional, head)]
        lines += ["", *body]
    return "\n".join(lines) + "\n"


def _module_figures() -> Iterator[tuple[str, str, str, str]]:
    """Name, meaning, example and form of what a module may say and no line above has said."""
    said = {plain.name for plain in PLAIN if plain.section == "modules"}
    said |= {key.name for key in keys_of("modules")}
    for name, (title, example) in WORDS.items():
        if name not in said:
            yield name, title, example, "text"
    for name, key in FIGURES.items():
        if name not in said:
            yield name, key.title, key.example, key.dimension


def _module_lines() -> Iterator[str]:
    yield from _comment(_FIGURES)
    for name, title, example, _ in _module_figures():
        if name == MODULE_RESISTANCE.name:  # of all figures the one that decides most
            yield from _comment(MODULE_RESISTANCE.find, "  find:    ")
            yield from _comment(f"{MODULE_RESISTANCE.consequence} ({MODULE_RESISTANCE.doubt})",
                                "  unknown: ")
        yield f"# {name} = {example}  # {title}"


def _comment(words: str, label: str = "") -> list[str]:
    return textwrap.wrap(words[:1].upper() + words[1:] if not label else words, WIDTH,
                         initial_indent=f"# {label}", subsequent_indent="# " + " " * len(label),
                         break_long_words=False, break_on_hyphens=False)


def _plain_lines(section: str) -> Iterator[str]:
    for plain in (p for p in PLAIN if p.section == section):
        choices = f": {plain.form}" if "|" in plain.form else ""
        yield from _comment(f"{plain.title}{choices}")
        yield from _comment(plain.find, "  find:    ") if plain.find else ()
        left_out = (not section and plain.name != "title") or plain.name in LEFT_OUT \
            or section == "parts"
        mark = MARK if plain.section == "modules" and not left_out else ""
        yield ("# " if left_out else "") + f"{plain.name} = {plain.example}{mark}"


def _quantity_lines(section: str) -> Iterator[str]:
    """Each entry of the schema with its meaning, where to find it, and what `unknown` means."""
    for key in keys_of(section):
        choices = f": {' | '.join(key.choices)}" if key.choices else ""
        yield ""
        yield from _comment(f"{key.title}{choices}")
        yield from _comment(key.find, "  find:    ")
        example = f"{key.name} = {EXAMPLES[key.dotted]}"
        meaning = f"{key.consequence} ({key.doubt})" if key.doubt else key.consequence
        if key.required:
            yield from _comment(meaning, "  unknown: ")
            yield example + MARK
        elif key.name == "resistance":  # the load shown is one of constant power
            yield f"# {example}"
        elif section == "precharge.load":
            yield example
        else:
            yield from _comment(meaning, "  unknown: ")
            yield f'{example}{MARK}, or write "unknown"' if key.dotted in STATED else \
                f'{key.name} = "unknown"  # for example {EXAMPLES[key.dotted]}'


def write_starter(folder: str | os.PathLike[str], cautions: Sequence[str] = ()) -> Path:
    """Write the starter brief into a folder, which is made where it does not exist.

    Raises:
        OutputError: the folder cannot be written, or holds a brief already.
    """
    if not os.fspath(folder).strip():
        raise OutputError("no folder is named; name one, like mypack, or . for this one")
    target = Path(folder) / FILE_NAME
    place = one_line(str(target))
    text = starter_brief(cautions)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("x", encoding="utf-8", newline="\n") as file:
            _write_or_remove(file, text, target)
    except FileExistsError as error:
        what = "exists already; name another folder" if target.exists() \
            else "cannot be written: part of its path is a file"
        raise OutputError(f"{place}: {what}") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise OutputError(f"{place}: cannot be written ({reason}); name another folder") from error
    return target


def _write_or_remove(file, text: str, target: Path) -> None:
    try:
        file.write(text)
        file.flush()
    except OSError:
        target.unlink(missing_ok=True)
        raise

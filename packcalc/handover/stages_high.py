"""The stages above 60 V: one section, pre-charge, weld, charge, wheels, current, joints, torque."""

from __future__ import annotations

from packcalc.electrical import series_voltage
from packcalc.findings import Finding, Origin, leaf, smallest, trace
from packcalc.handover.bands import rule, share_of_current
from packcalc.handover.expected import Expected, Stage, yes
from packcalc.handover.figures import BORDER, Figures

JOINT_SPREAD = rule("temperature of a joint above the median of all joints", "ΔT", "K", 10.0)
FIRST_SHARE = rule("share of the continuous current on the first drive", "x", "%", 0.25)
CELL_SPREAD = rule("difference between the cells at rest", "ΔU_c", "mV", 0.05,
                   "our rule; sellers' rules differ, no standard was found")


def section(figures: Figures) -> Stage:
    """The smallest section that can be joined, its disconnect the only way on."""
    count = _first_count(figures)
    low = trace(series_voltage, "section, every module empty", series=count,
                module_voltage=_empty_module(figures))
    high = trace(series_voltage, "section, every module full", series=count,
                 module_voltage=figures.module_voltage)
    many = f"{count.number:g} module{'s' if count.number > 1 else ''} in series"
    above = "" if high.number <= BORDER.number else \
        " One full module is above 60 V: there is no harmless section, gloves from here on."
    return Stage(
        "section", "One section", f"{many}: up to {high.shown}",
        (f"One section of {many} into the load side, through its fuse; mains stay open.{above}",
         "Sum of the modules' own readings in the note: the section must show it within 0.5 %.",
         "Each pole to the chassis with a meter of 10 MΩ or more: it must sink towards nothing."),
        (Expected("section.voltage", f"voltage of the section ({many})", "voltage", "V", low=low,
                  high=high, how="at the section's ends",
                  below="a module is missing, reversed or empty: stop",
                  above="more modules are joined than the drawing says: stop"),
         yes("section.poles_float", "both poles sink towards nothing against the chassis",
             "an insulation fault lies inside the section: find the module before the next step")),
        ("the section floats and shows the sum of its modules",))


def _first_count(figures: Figures) -> Finding:
    harmless = figures.study.circuit.insulation.sections
    value = min(max(1.0, harmless.number), figures.pack.layout.series)
    return leaf("modules in the first section", "n", "", value, "definition",
                origin=Origin("sections under 60 V"),
                note="as many as stay under 60 V when full, at least one")


def _empty_module(figures: Figures) -> Finding:
    modules = [figures.brief.modules[p.entry].module for p in figures.pack.layout.parts]
    return smallest([trace(series_voltage, "empty voltage of one module", symbol="U_m",
                           series=m.cells_in_series, module_voltage=m.empty_voltage)
                     for m in modules], "empty voltage of one module")


def pack_on(figures: Figures) -> Stage:
    """The whole pack, through the pre-charge alone."""
    pack, level = figures.pack, figures.brief.precharge.level
    expected = [
        Expected("pack.voltage", "voltage of the pack, mains open", "voltage", "V",
                 low=pack.empty_voltage, high=pack.rest_full_voltage, how="at the pack's side of "
                 "the mains; the sum of the modules' readings in the note, within 0.5 %",
                 below="a module is missing, reversed or empty: stop",
                 above="more in series than drawn, or charged too high: stop"),
        *(Expected(f"pack.isolation_{pole}", f"isolation of the {pole} pole, by two voltmeter "
                   "readings", "resistance", "kΩ", low=figures.isolation,
                   how=f"known resistor of {figures.isolation.shown} ± 20 %, meter of 10 MΩ or "
                   "more; the lower of both poles counts",
                   below="modules, coolant, cables: leakages add in parallel; part by part")
          for pole in ("positive", "negative"))]
    if figures.can_precharge:
        expected += _precharge(figures)
    held = figures.can_precharge and figures.slowest() is None
    unreached = ("STOP, design: the discharge resistor keeps the bus below "
                 f"{level.shown}; smaller pre-charge resistance or larger discharge resistance.",
                 ) if held else ()
    return Stage(
        "pack", "The pack through the pre-charge only", f"everything, up to "
        f"{pack.highest_voltage.shown}; inverter told to stay off",
        (*unreached, *_strings(figures),
         "Mains kept from closing (coil lead off). Disconnect in, last link under cover.",
         f"Pre-charge relay closed once. The bus must come to {level.shown} of the battery and "
         "stay; a bus that hangs lower has a load on it: open at once.",
         "Wait for the resistor to cool between two tries; no more tries than the brief says.",
         "Relay open again, link down below 60 V, proven by meter, before the coil lead goes on."),
        tuple(expected),
        ("the bus comes up, floats and falls again", "isolation holds with the pack on"))


def _strings(figures: Figures) -> tuple[str, ...]:
    layout = figures.pack.layout
    if layout.arrangement != "strings" or layout.parallel < 2:
        return ()
    return (f"{layout.parallel} strings: each alone first, by itself through the pre-charge, the "
            "others parted; then joined, once their voltages agree as the file for review asks.",)


def _precharge(figures: Figures) -> list[Expected]:
    level = figures.brief.precharge.level
    return [
        Expected("pack.precharge_time", f"time from closing to {level.shown} of the battery",
                 "time", "s", low=figures.fastest(), high=figures.slowest(),
                 how="log of bus and battery voltage",
                 below="capacitance is missing, or the resistor is low",
                 above="a load wakes on the bus, or resistor or capacitance is high",
                 lacking="the discharge resistor keeps the bus below the level"),
        Expected("pack.peak_current", "first current into the empty link", "current", "A",
                 low=figures.peak_edge(figures.pack.empty_voltage, False),
                 high=figures.peak_edge(figures.pack.highest_voltage, True), needed=False,
                 how="current clamp", below="resistor high",
                 above="resistor low or bridged: open at once")]


def weld(figures: Figures) -> Stage:
    """Each main proven open while the other is closed."""
    level = figures.study.circuit.states.item.duty[0]
    return Stage(
        "weld", "Weld test", f"everything, up to {figures.pack.highest_voltage.shown}",
        ("One full start without torque, one stop. Then each main alone, pre-charge open, link "
         "first below the level: voltage from the open main's load side to the other pole.",
         "Alternate which main opens first, so that both are proven in turn."),
        (*(Expected(f"weld.{open_}", f"behind the open {open_} main, the other one closed",
                    "voltage", "V", high=level, how="meter of 10 MΩ or more, or the controller's "
                    "own reading; both, once", above="welded contact or a path around it: replace "
                    "the contactor, do not reset; a charged link looks the same: let it fall "
                    "first") for open_ in ("plus", "minus")),
         Expected("weld.fall_time", "link from full to 60 V after opening", "time", "s",
                  high=figures.fall_time(), how="log or stopwatch",
                  above="discharge path open or high; label the longer time, mend it",
                  lacking="discharge resistor or capacitance is not in the brief; the reading "
                          "becomes the baseline")),
        ("neither main is welded, and the controller saw it as the meter did",))


def charge(figures: Figures) -> Stage:
    """The first charge, attended from beginning to end."""
    brief = figures.brief
    return Stage(
        "charge", "Attended first charge", f"everything, up to {figures.pack.full_voltage.shown}",
        ("A person beside it who can stop it, outdoors or where nothing burns, monitor awake. "
         "Never overnight, never left.",
         "Smallest current of the charger first; every cell on the list; a hand-held meter on "
         "three cells against the monitor.",
         "Pull the plug once under charge, press stop once: it must end each time.",
         "To the end of charging, then an hour at rest; cells and temperatures again."),
        (Expected("charge.current", "charging current, highest", "current", "A",
                  high=figures.pack.charging_current, how="clamp or charger's reading",
                  above="charger is not set as the brief says"),
         Expected("charge.end_voltage", "pack at the end of charging", "voltage", "V",
                  low=figures.charge_end(False), high=figures.charge_end(True), how="meter",
                  below="charger ends early, a cell hit its limit, or one is missing",
                  above="charger does not end where set: stop, this is how packs burn"),
         Expected("charge.cell_highest", "highest cell", "voltage", "V", high=figures.cell_full,
                  how="monitor, three of them by meter",
                  above="the over-voltage trip did not act: stop, no charge until it does"),
         Expected("charge.cell_spread", "highest less lowest cell after an hour at rest",
                  "voltage", "mV", high=CELL_SPREAD, how="monitor",
                  above="modules were joined at different charge: balance; if it comes back, a "
                        "cell loses charge"),
         Expected("charge.cell_hottest", "hottest cell or module", "temperature", "°C",
                  high=brief.battery.hottest, how="monitor and infrared",
                  above="stop, let it cool outdoors; a joint or a cell heats"),
         yes("charge.stops", "plug pulled and stop pressed each end the charge",
             "nobody could stop it: no charge until mended")),
        ("charge ends by itself, cells agree, nothing grew warm by itself",))


def wheels(figures: Figures) -> Stage:
    """Driven wheels off the ground."""
    return Stage(
        "wheels", "Wheels off the ground", f"everything, up to "
        f"{figures.pack.highest_voltage.shown}",
        ("Vehicle on stands that cannot tip, nobody in front of or behind it, braking back-feed "
         "set to its least.",
         "Slow: direction forward and back, pedal let go, brake. Emergency stop at low speed. "
         "Key out. Charge plug in: it must not turn.",
         "Watch the bus while the wheels coast: the motor may lift it."),
        (yes("wheels.direction", "it turns as told, both ways", "phases or encoder are crossed"),
         yes("wheels.stops", "emergency stop, key and lost 12 V each end the torque",
             "stop: find which of them does not reach the contactors"),
         yes("wheels.locked", "plug in: no torque", "interlock of the inlet is not wired"),
         Expected("wheels.bus_highest", "highest bus voltage seen", "voltage", "V",
                  high=figures.pack.highest_voltage, how="inverter's log",
                  above="braking or back-voltage lifts the bus above what every rating rests on"),
         Expected("wheels.isolation", "isolation with the inverter running", "resistance", "kΩ",
                  low=figures.isolation, how="monitor's reading", needed=figures.brief.path.
                  insulation_monitor != "none", below="motor or inverter leaks: part them and "
                  "measure each")),
        ("everything that must stop it does",))


def limited(figures: Figures) -> Stage:
    """First drive at a quarter of the continuous current."""
    low, high = figures.pack_resistance
    ceiling = trace(share_of_current, "current limit of the first drive",
                    current=figures.pack.continuous_current, share=FIRST_SHARE)
    return Stage(
        "limited", "Limited current", f"everything, up to {figures.pack.highest_voltage.shown}",
        (f"Current limit set to {ceiling.shown} or less, a yard without traffic.",
         "One steady pull of ten seconds: battery voltage before, at its end, and the current.",
         "Divide the sag by the current; cell temperature in the note."),
        (Expected("limited.current", "highest battery current", "current", "A", high=ceiling,
                  how="log", above="the limit does not hold"),
         Expected("limited.pack_resistance", "sag divided by current, battery to inverter",
                  "resistance", "mΩ", low=low, high=high, how="log; the current held for ten "
                  "seconds", below="current reads high, or voltage was read in the wrong place",
                  above="a poor joint or contact, a weak or cold module: compare the groups' sags "
                        "and the joints' temperatures before more current")),
        ("sag is where the model puts it",))


def warm(figures: Figures) -> Stage:
    """Joint temperatures after the first hour."""
    return Stage(
        "warm", "Joint temperatures", f"everything, up to {figures.pack.highest_voltage.shown}",
        ("An hour at up to the continuous current, then at once: every joint, fuse end, "
         "contactor terminal and lug, by infrared on matt tape or a thermocouple. Covers off "
         "only with gloves and face shield, mains open, bus proven dead.",
         "Write down current, air temperature and each joint; the hottest three into the note."),
        (Expected("warm.joint_hottest", "hottest joint or terminal", "temperature", "°C",
                  high=figures.terminal_limit, how="infrared on matt tape, or thermocouple",
                  above="stop: the part's own terminal limit is passed"),
         Expected("warm.joint_spread", "hottest joint above the median of all",
                  "temperature difference", "K", high=JOINT_SPREAD, how="from the list",
                  above="that joint is worse than its like: open, clean, torque, measure"),
         Expected("warm.cell_hottest", "hottest cell", "temperature", "°C",
                  high=figures.brief.battery.hottest, how="monitor",
                  above="less current, more cooling; find why this one"),
         Expected("warm.air", "air around the pack", "temperature", "°C", needed=False,
                  how="thermometer in the shade", lacking="written down for later comparison")),
        ("no joint stands out", "every part is below its own limit"))


def retorque(figures: Figures) -> Stage:
    """The joints once more after they have been warm."""
    return Stage(
        "retorque", "Torque once more", "every terminal inside the pack",
        ("After the first warm runs, cold again: disconnect out, sections apart as for the dead "
         "tests.",
         "Every joint with the torque of its maker; a joint that turns is marked anew and "
         "written down. Never beyond the maker's torque.",
         "Every link measured again with the ids of the build sheet: these readings become the "
         "baseline."),
        (yes("retorque.marks", "no joint turned more than its maker allows",
             "joint settles: spring washer, plastic in the stack, soft copper; look at each"),
         *(Expected(f"retorque.isolation_{pole}", f"isolation of the {pole} pole, pack joined",
                    "resistance", "kΩ", low=figures.isolation, how="as pack.isolation; again "
                    "after rain or washing", below="water or dirt found its way in")
           for pole in ("positive", "negative"))),
        ("every reading of this list is in band, dated, and kept as the baseline",))

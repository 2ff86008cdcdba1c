"""The stages in which the pack becomes whole: its parts, the sense leads, the first closing."""

from __future__ import annotations

from packcalc import transients as tr
from packcalc.bench.sections import Run
from packcalc.electrical import series_voltage
from packcalc.findings import Finding, Origin, leaf, smallest, trace
from packcalc.handover.bands import LEAST_RESISTANCE, rule
from packcalc.handover.expected import STOP, SUM, Agreement, Expected, Stage, floor, yes
from packcalc.handover.figures import Figures
from packcalc.handover.inside import (
    INSIDE,
    TYPICAL_LINK,
    Joint,
    charge_poles,
    disconnect_of,
    division_open,
    free_links,
    live_ahead,
    position_word,
    sense_wires,
    strings_of,
    taps_ahead,
    up_to,
)
from packcalc.handover.parted import (
    DIVISION_OPEN,
    closing_words,
    contactor_words,
    ends_words,
    inside_words,
    joints_of_the_day,
    leads_before,
    open_after,
    place_words,
    runs_of,
    spanning,
)
from packcalc.handover.stages_low import FIRST_POLE, PACK_ON, SHARED, open_waking, watched
from packcalc.handover.stages_strings import JOIN
from packcalc.part_checks.limits import closing_bar
from packcalc.handover.voltage_class import called
from packcalc.protect.insulation import as_open, or_more
from packcalc.protection import ProtectionStudy

POSITIONS = "positions"
WITHIN = rule("share by which a sum may differ from its parts' readings", "a", "%", 0.005,
              "our rule: two meters of 0.25 %; the reviewer may replace it")
ISOLATION_SOURCE = "un-r100-annex-isolation"
KNOWN_TOLERANCE = leaf("how far the known resistor may lie off", "a", "%", 0.20, "read",
                       source=ISOLATION_SOURCE, origin=Origin("note 1"))
MONITOR_ERROR = rule("difference between monitor and meter at one cell", "ΔU_c", "mV", 0.010,
                     "our rule; the monitor's own sheet counts where it says more")
BESIDE = rule("resistor beside the meter across the open place", "R", "kΩ", 10e3,
              "our rule: leakage through isolation and a meter alone would read high")


def _strings(study: ProtectionStudy) -> tuple[tuple[str, str], ...]:
    """Part of an id and of a title for each string; one blank pair where there is one alone."""
    many = strings_of(study)
    if many < 2:
        return (("", ""),)
    return tuple((f"{n}_", f"string {n}, ") for n in range(1, many + 1))


def _band(figures: Figures, run: Run, title: str) -> tuple[Finding, Finding]:
    """Voltage of positions in series at the charge that they are joined with."""
    modules, charged = figures.modules[run.first - 1:run.last], figures.charged
    edges = charged.edges(modules)
    if edges is None:
        return (_series(figures, run, title, full=False), _series(figures, run, title, full=True))
    low, high = (leaf(f"{title}, {end}", "U", "V", value, charged.charge.basis,
                      origin=charged.charge.origin, note=charged.words)
                 for end, value in zip(("lowest", "highest"), edges, strict=True))
    return low, high


def _series(figures: Figures, run: Run, title: str, *, full: bool) -> Finding:
    count = leaf("positions in series", "n", "", run.steps, "definition",
                 origin=Origin("build sheet"))
    each = figures.module_voltage if full else smallest(
        [trace(series_voltage, "empty voltage of one module", symbol="U_m",
               series=m.cells_in_series, module_voltage=m.empty_voltage)
         for m in dict.fromkeys(figures.modules[run.first - 1:run.last])],
        "empty voltage of one module")
    return trace(series_voltage, f"{title}, every module {'full' if full else 'empty'}",
                 series=count, module_voltage=each)


# --- the parts by themselves -----------------------------------------------------------------

def section(figures: Figures) -> Stage:
    """Each position, then each part of the string, by itself and unloaded."""
    study = figures.study
    word, runs, place = position_word(study), runs_of(study), place_words(study)
    expected: list[Expected] = []
    for name, said in _strings(study):
        expected += [_position(figures, name, said, k) for k in range(1, study.layout.series + 1)]
        expected += [_part(figures, name, said, n, run) for n, run in enumerate(runs, start=1)]
    return Stage(
        "section", "One section after the other", f"{inside_words(figures)}; pole leads off, so "
        f"nothing else outside it; {ends_words(figures)}",
        ("Gloves and face shield on; box open for the probes alone, one pair of terminals bare at "
         "a time. The supply of the stages before is away.",
         f"Every {word} by itself first: red lead on what is marked plus. A reading below zero is "
         "a reversed one.",
         "Then each part end to end: it must show the sum of its own readings. So one that is "
         "missing, reversed or at another charge shows, whatever the whole may read.",
         "Each end of each part to the chassis with a meter of 10 MΩ or more: it must sink towards "
         "nothing.",
         *((f"Still open, capped: {place}.",) if place else ())),
        (*expected,
         yes("section.poles_float", "each end of each part sinks towards nothing against the "
             "chassis", "an insulation fault lies inside that part: find the module before the "
             "next step")),
        ("each part floats and shows the sum of its modules",))


def _position(figures: Figures, name: str, said: str, k: int) -> Expected:
    title = f"{said}{position_word(figures.study)} {k} by itself"
    low, high = _band(figures, Run(k, k), title)
    return Expected(f"section.position_{name}{k}", title, "voltage", "V", low=low, high=high,
                    how=f"voltmeter, sign written down; band: {figures.charged.words}",
                    below="reversed (below zero), missing, or not at the charge of the plan: stop",
                    above="more in series than drawn, or charged beyond the plan: stop",
                    like=POSITIONS, polarity=True)


def _part(figures: Figures, name: str, said: str, number: int, run: Run) -> Expected:
    word = position_word(figures.study)
    title = f"{said}part {number}: {word}{'s' if run.steps > 1 else ''} {run}, end to end"
    low, high = _band(figures, run, title)
    ids = tuple(f"section.position_{name}{k}" for k in range(run.first, run.last + 1))
    return Expected(
        f"section.voltage_{name}{number}", title, "voltage", "V", low=low, high=high,
        how="at the ends of the part",
        below="a module is missing, reversed or at another charge: stop",
        above="more modules are joined than the drawing says: stop", polarity=True,
        agrees=Agreement(SUM, ids, WITHIN, "the part is not the sum of what stands in it: one is "
                         "missing, reversed or read at another time; read each again: stop"))


# --- sense leads -----------------------------------------------------------------------------

def sense(figures: Figures) -> Stage:
    """Sense leads in, one monitor at a time, before the string becomes whole."""
    study = figures.study
    place, over = place_words(study), spanning(study)
    monitors = study.circuit.management.monitors
    cells = sum(m.series for m in figures.modules)
    many = f"; {strings_of(study)} strings, each for itself" if strings_of(study) > 1 else ""
    stop = tuple(f"{STOP}: monitor {n} reaches over the open place. Its leads must not be plugged "
                 "while that place is open, and the place must not be closed without them. "
                 f"{_elsewhere(study)} Ask its maker and the reviewer." for n in over)
    monitor = f"{len(monitors)} monitor{'s' * (len(monitors) != 1)}"
    divided = DIVISION_OPEN if division_open(study) else \
        f"{monitor} a string, counted from the minus end{many}"
    return Stage(
        "sense", "Sense leads, before the string is whole",
        f"{inside_words(figures)}; pole leads off",
        (*stop,
         "Before any plug: every power link between the cells of that monitor is on, torqued and "
         "measured. A lead plugged across a missing link carries the string's current.",
         f"Loose connector first: every cell tap against the monitor's pin list: polarity, order, "
         f"one cell step from pin to pin, no jump across a link ({divided}).",
         ("Once that stop is answered, plug " if over else "Plug ")
         + "one monitor at a time, lowest cells first, as its maker orders; hand on each plug "
         "for a minute: nothing warm. Then 12 V to the management system, coil leads still off.",
         f"All {cells} cells of a string listed, in order; three of them by meter; temperatures "
         "against the air.",
         *((f"Still open, capped: {place}. " + ("It stays so until that is answered." if over else
            "It is closed only with every monitor plugged and silent."),) if place else ()),
         f"To unplug later: {_unplugged(study)}, then power links."),
        (yes("sense.taps", "every tap stands in order at its loose connector, one cell step each",
             "a tap is crossed, doubled or over a link: mend it before any plug",
             how="meter, at each connector"),
         yes("sense.plugged", f"every monitor plugged, all {cells} cells of each string listed",
             "a lead, a fuse or a monitor is open: that cell would not be watched"),
         Expected("sense.monitor_error", "largest difference between monitor and meter, three "
                  "cells", "voltage", "mV", high=MONITOR_ERROR, how="meter at the tap",
                  above="a poor tap, or the monitor reads wrong: its trips are then wrong too"),
         yes("sense.temperatures", "every temperature agrees with the air's",
             "a sensor is loose or on the wrong input"),
         yes("sense.silent", "no monitor warns, no plug or wire warms, nothing balances by itself",
             "stop: leads out again, lowest cells last; look for a crossed tap"),
         yes("sense.lost_lead", "a lost cell reading keeps the contactors from closing",
             "the pack would run with a cell unseen", how="as the maker tests it")),
        ("every cell is seen and every monitor is silent",), stop)


def _elsewhere(study: ProtectionStudy) -> str:
    """Another place that could stay open, as far as the monitors leave one."""
    free, word = free_links(study), position_word(study)
    if division_open(study):
        return f"{DIVISION_OPEN[0].upper()}{DIVISION_OPEN[1:]}."
    if free:
        names = ", ".join(str(k) for k in free)
        return f"No monitor reaches over the joint behind {word} {names}: a place there needs " \
               "none of this."
    return ("No joint of this string lies between two monitors: with two that meet at a joint "
            "which neither measures, that one can stay open; whether the pole leads may be the "
            "only open place, the string whole in its box, is for them to say.")


def _unplugged(study: ProtectionStudy) -> str:
    """The order of unplugging, the same as at every parting."""
    part, leads = disconnect_of(study), leads_before(study)
    place = f"plug of {part.tag}" if part is not None else "the last link"
    return f"{leads}, then {place}, then the other sense leads" if leads else \
        f"{place} out first, then sense leads"


# --- the whole pack --------------------------------------------------------------------------

def pack_on(figures: Figures) -> Stage:
    """The string made whole, then through the pre-charge alone."""
    study, level = figures.study, figures.brief.precharge.level
    plus, minus = (contactor_words(study, pole) for pole in ("plus", "minus"))
    down = "link discharged" if called(figures.pack).class_a else "link down below 60 V"
    held = figures.can_precharge and figures.slowest() is None
    unreached = (f"{STOP}: the discharge resistor or a load keeps the bus below "
                 f"{level.shown}; smaller pre-charge resistance, larger discharge resistance, or "
                 f"loads kept asleep.{_counted_awake(figures)}",) if held else ()
    return Stage(
        "pack", PACK_ON,
        f"inside the box everything, {up_to(figures.pack)}, from the moment the string is whole; "
        f"with it the pole leads, the battery side of every contactor{_ahead_live(study)}; behind "
        f"the contactors the bus while {minus} and the relay are closed",
        (*unreached, "Inverter and charger told to stay off"
         + (", the charge contactor open" if charge_poles(study) else "") + ".", *_joining(figures),
         "Contactors still open: voltage of the whole, then isolation of both poles, the isolation "
         "monitor's leads off for that and on again after it.", *_two_readings(figures),
         f"Coil lead of {plus} off and taped: it cannot close. Relay and {minus} stay with the "
         "controller; it will report that the plus contact did not close.",
         *_each_string(study),
         f"The bar on closing first: below {closing_bar(figures.brief)} no start may close "
         "anything. One sensor of the coldest cells made to read colder, start; put back; the "
         "charge made to read lower, start; put back.",
         f"Start: {minus} closes alone, the bus must not rise{watched(study)}. Then the relay "
         f"across {plus}: the bus must come to {level.shown} of the battery and stay; a bus "
         "that hangs lower has a load on it: open at once.",
         "Wait for the resistor to cool between two tries; no more tries than the brief says.",
         f"Relay and {minus} open, {down}, proven by meter, before the coil lead goes on."),
        (*_joined(figures), *_whole(figures), *_barred(figures, minus),
         *(_precharge(figures) if figures.can_precharge else ())),
        ("the bus comes up, floats and falls again", "isolation holds with the pack on"),
        unreached)


def _barred(figures: Figures, minus: str) -> tuple[Expected, ...]:
    """The bar on closing, on which every lowest fault of the file rests."""
    cold, low = figures.brief.battery.coldest_closed, figures.brief.battery.charge_lowest
    no = "no bar, or a lower one: colder or emptier cells feed a smaller fault than any that the " \
         "file holds fuse and trips against; set it before anything is closed"
    return tuple(yes(f"pack.{name}", f"start with {what} made to read below {bar.shown}: neither "
                     f"{minus} nor the relay closes", no, how=how)
                 for name, what, bar, how in (
                     ("too_cold", "a cell temperature", cold, "a resistor or a chilled sensor in "
                      "the place of one sensor, or as the maker tests it"),
                     ("too_empty", "the charge", low, "as the management system's maker tests it")))


def _counted_awake(figures: Figures) -> str:
    """Loads that keep the bus down only because nobody said when they wake."""
    names = ", ".join(open_waking(figures))
    return f" Nobody said at which voltage these wake, so they count as awake from the first " \
           f"volt: {names}; ask their makers, and say wakes_at." if names else ""


def _ahead_live(study: ProtectionStudy) -> str:
    names = ", ".join((*live_ahead(study), *sense_wires(study)))
    return f" and what leaves ahead of them ({names})"


def _joining(figures: Figures) -> tuple[str, ...]:
    """Pole leads, then the open place, in the order in which no circuit closes by surprise."""
    study = figures.study
    names = taps_ahead(study)
    out = (f"Fuses out of what leaves ahead of the contactors: {', '.join(names)}. They are put "
           "back only after this stage: with the string parted again, or live where the maker of "
           "their holder allows it.",) if names else ()
    if not open_after(study):
        return (*out, "12 V off, every contactor open. Pole leads on, the minus lead first: from "
                "the second on everything up to the contactors is live.")
    *earlier, last = closing_words(study)
    across = " and those fuses out" if names else ""
    return (*out,
            f"Every monitor plugged and silent. 12 V off, every contactor open{across}.",
            *(f"Pole leads still off: {one}." for one in earlier),
            "Across the place that is left open, pole leads still off: near nothing, else a second "
            "path is there: stop.",
            "Pole leads on, each by itself, capped end last; that place is still open, so nothing "
            "stands between them but leakage.",
            f"Now the string is made whole: {last}. Read it from terminal to terminal; cover on.")


def _each_string(study: ProtectionStudy) -> tuple[str, ...]:
    if strings_of(study) < 2:
        return ()
    return (f"{strings_of(study)} strings: one at a time from here, the contactors of the others "
            "kept open, their coil leads off. A string with no relay of its own is not pre-charged "
            "by itself: it is proven by voltage and isolation here, and closes for the first time "
            f"at the stage \"{JOIN}\", onto the bus that another string holds. The brief does "
            "not say which string has the relay.",)


def _two_readings(figures: Figures) -> tuple[str, ...]:
    """How isolation is worked out of voltages against the chassis, and what the resistor bears."""
    known, voltage = figures.isolation, figures.pack.highest_voltage
    least = trace(tr.smallest_resistance, "least known resistor", unit="kΩ", resistance=known,
                  tolerance=KNOWN_TOLERANCE)
    heat = trace(tr.resistor_power, "power in the known resistor, the other pole at the chassis",
                 voltage=voltage, resistance=least, note=as_open(voltage))
    return (
        f"Isolation, each by the same meter: V_b pole to pole; V, the larger of both poles against "
        f"the chassis, and V_2, the smaller. Then the known resistor R_o between the pole of the "
        f"larger and the chassis, V' there. The lower isolation, that of the other pole: R_i = "
        f"R_o · V_b · (1/V' − 1/V) [{ISOLATION_SOURCE}]; the higher one is R_i · V/V_2. Both "
        "below a third of V_b: each lies above the meter's own resistance; write > 10 MΩ.",
        f"R_o {known.shown} ± {KNOWN_TOLERANCE.shown}, rated for {up_to(figures.pack)} and "
        f"{or_more(heat)}: clipped on with gloves, that pole is then tied to the chassis; nobody "
        "touches the other.")


def _given_up(figures: Figures) -> Finding | None:
    """Longest pre-charge: to the level, else to the timeout at which it must have given up."""
    timeout = figures.brief.precharge.timeout
    return figures.slowest() or (timeout if timeout.known else None)


def _joined(figures: Figures) -> list[Expected]:
    """The open place before and after it is closed, in each string."""
    found = []
    for name, said in _strings(figures.study) if open_after(figures.study) else ():
        found.append(Expected(
            f"pack.open_place_{name}".rstrip("_"), f"{said}across the last open place, pole leads "
            f"off, {BESIDE.shown} beside the meter", "voltage", "V", high=_leak(figures),
            how="before anything is fitted there",
            above="a second path joins the parts: a tool, a tap, water; find it",
            rests_on=figures.isolation))
    return [*found, *(_across(j) for j in joints_of_the_day(figures.study))]


def _leak(figures: Figures) -> Finding:
    """What leakage at the isolation demanded would still show across the place."""
    whole = Run(1, figures.study.layout.series)
    return trace(tr.divided_voltage, "largest reading that leakage alone makes",
                 voltage=_series(figures, whole, "whole string", full=True),
                 resistance=figures.isolation, load_resistance=BESIDE)


def _across(joint: Joint) -> Expected:
    inside = joint.kind == INSIDE
    return Expected(
        joint.id, f"{joint.place}, closed, from terminal to terminal" if inside else
        f"last link, {joint.place}, with its joints", "resistance", "mΩ",
        low=joint.least or floor(joint.limit, LEAST_RESISTANCE), high=joint.limit,
        how="four wires, mains open, no current; meter and leads rated for the whole "
            "pack against chassis" + ("" if inside else f"; {TYPICAL_LINK}"),
        below="a plain link stands where fuse or disconnect belong, or the meter is bridged: stop",
        above="fuse, disconnect contacts or their joints: part by part before any load",
        lacking="a part does not say its resistance; the reading becomes the baseline")


def _whole(figures: Figures) -> list[Expected]:
    study, found = figures.study, []
    whole = Run(1, study.layout.series)
    for name, said in _strings(study):
        low, high = _band(figures, whole, f"{said}pack before its first closing")
        ids = tuple(f"section.voltage_{name}{n}" for n, _ in enumerate(runs_of(study), start=1))
        found.append(Expected(
            f"pack.voltage_{name}".rstrip("_"), f"{said}voltage of the whole, contactors open",
            "voltage", "V", low=low, high=high, how="at the battery side of the contactors",
            below="a module is missing, reversed or empty: stop",
            above="more in series than drawn, or charged too high: stop", polarity=True,
            agrees=Agreement(SUM, ids, WITHIN, "the whole is not the sum of its parts: read each "
                             "again, find the place: stop")))
    return [*found, *(Expected(
        f"pack.isolation_{pole}", f"isolation of the {pole} pole, by two voltmeter readings",
        "resistance", "kΩ", low=figures.isolation_of_battery,
        how=f"known resistor of {figures.isolation.shown} ± 20 %, meter of 10 MΩ or more, the "
        f"isolation monitor's leads off; the lower of both poles counts; {SHARED}"
        + ("; each string by itself, the lowest written down" if strings_of(study) > 1 else ""),
        below="modules, coolant, cables: leakages add in parallel; part by part")
        for pole in ("positive", "negative"))]


def _precharge(figures: Figures) -> list[Expected]:
    study, level = figures.study, figures.brief.precharge.level
    plus, minus = (contactor_words(study, pole) for pole in ("plus", "minus"))
    return [
        Expected("pack.first_pole", f"bus with {minus} closed alone", "voltage", "V",
                 high=FIRST_POLE, how="log or meter",
                 above=f"{plus} or the relay passes current: open at once"),
        Expected("pack.precharge_time", f"time from closing to {level.shown} of the battery",
                 "time", "s", low=figures.fastest(), high=_given_up(figures),
                 how="log of bus and battery voltage",
                 below="capacitance is missing, or the resistor is low",
                 above="a load wakes on the bus, or resistor or capacitance is high",
                 guards=True,
                 lacking="the discharge resistor or a load keeps the bus below the level"),
        Expected("pack.peak_current", "first current into the empty link", "current", "A",
                 low=figures.peak_edge(figures.pack.empty_voltage, False),
                 high=figures.peak_edge(figures.pack.full_voltage, True), needed=False,
                 how="current clamp", below="resistor high",
                 above="resistor low or bridged: open at once")]

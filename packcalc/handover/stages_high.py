"""The stages with the pack whole: weld, charge, wheels, current, joint temperatures, torque."""

from __future__ import annotations

from packcalc import transients as tr
from packcalc.brief_keys import CHARGERS
from packcalc.findings import Finding, trace
from packcalc.handover.bands import LEAST_TIME, less_error, rule, sag, share_of_current
from packcalc.handover.expected import (
    FALL,
    MISREAD,
    VOID,
    Agreement,
    Expected,
    Stage,
    floor,
    yes,
)
from packcalc.handover.figures import Figures, discharge_open, discharge_time
from packcalc.handover.inside import (
    charge_poles,
    disconnect_of,
    disconnect_open,
    disconnect_out,
    live_ahead,
    sense_wires,
    strings_of,
    taps_ahead,
    up_to,
)
from packcalc.handover.parted import (
    inside_words,
    leads_before,
    open_after,
    place_words,
    taken_out,
)
from packcalc.handover.stages_joining import BESIDE, MONITOR_ERROR
from packcalc.handover.stages_low import SHARED
from packcalc.handover.stages_strings import even_first
from packcalc.handover.resistance_band import COLDEST, WARMEST, ground, pack_resistance
from packcalc.handover.voltage_class import called
from packcalc.protect.insulation import as_open, or_more
from packcalc.protect.state_checks import MAIN
from packcalc.protect.states import INLET_WELDED, MATCH, UNBOUNDED
from packcalc.protection import ProtectionStudy

INLET = "charge contactor told to open"  # names the step of the states' weld check

FALL_WITHIN = rule("share by which the fall may differ from its time constant", "a", "%", 0.15,
                   "our rule: two timings, and capacitors that lose a little with voltage")
JOINT_SPREAD = rule("temperature of a joint above the median of all joints", "ΔT", "K", 10.0)
LEAST_WARM = rule("temperature that joints and cells must have reached for the warm run to count",
                  "T_w", "°C", 288.15,
                  "our rule: colder, an hour's run tells little of a hot day, and °F taken for °C "
                  "shows")
FIRST_SHARE = rule("share of the continuous current on the first drive", "x", "%", 0.25)
LEAST_PULL = rule("share of that limit below which the pull is void", "x", "%", 0.50,
                  "our rule: sag and resistance are read from this pull")
LEAST_CHARGE = rule("share of the first charge's most current below which it is void", "x", "%",
                    0.10)
CELL_SPREAD = rule("difference between the cells at rest", "ΔU_c", "mV", 0.05,
                   "our rule; sellers' rules differ, no standard was found")
TOO_COLD = f"{VOID} in milder air; or {MISREAD}"


def _live(figures: Figures) -> str:
    """What is live with the contactors closed, and what stays live with them open."""
    names = ", ".join((*live_ahead(figures.study), *sense_wires(figures.study)))
    inlet = figures.study.circuit.states.state("run").live.partition("; ")[2]
    return (f"with the contactors closed everything, {up_to(figures.pack)}"
            f"{', with ' + inlet if inlet else ''}; with them open still "
            f"the whole inside of the box, the pole leads up to the contactors and {names}")


def weld(figures: Figures) -> Stage:
    """Each contactor proven open while the other is closed; the fall of the link timed."""
    study = figures.study
    level = study.circuit.states.item.duty[0]
    strings = tuple((f"_{n}", f" of string {n}") for n in range(1, strings_of(study) + 1)) \
        if strings_of(study) > 1 else (("", ""),)
    return Stage(
        "weld", "Weld test", _live(figures),
        (*_proven_open(study), *_inlet_step(figures), _how_it_falls(figures)),
        (*(Expected(f"weld.{open_}{name}", f"behind the open {open_} contactor{said}, the other "
                    "one closed", "voltage", "V", high=level, how="meter of 10 MΩ or more, or the "
                    "controller's own reading; both, once", above="welded contact or a path around "
                    "it: replace the contactor, do not reset; a charged link looks the same: let "
                    "it fall first") for name, said in strings for open_ in ("plus", "minus")),
         *_inlet_open(study, level), *_fall(figures)),
        ("no contactor is welded, " + "the charge contactor no more than the others, " * (
            charge_poles(study) > 0) + "and the controller saw it as the meter did",))


def _inlet_step(figures: Figures) -> tuple[str, ...]:
    """The charge contactor's weld check as the switching states have it, once by hand too."""
    step = next((s for s in figures.study.circuit.states.weld_check if INLET in s), None)
    if step is None:
        return ()
    heat = trace(tr.resistor_power, "power in that resistor at a welded pole",
                 voltage=figures.pack.highest_voltage, resistance=BESIDE,
                 note=as_open(figures.pack.highest_voltage))
    return (f"Charge contactor, while the bus is live at that start, plug out: {step} By hand "
            f"once too, at the inlet, or at the charger's DC terminals where it ends there: meter "
            f"with {BESIDE.shown} beside it, rated for {up_to(figures.pack)} and {or_more(heat)}; "
            "gloves: with it on that inlet pole is tied to the bus; nobody touches it.",)


def _inlet_open(study: ProtectionStudy, level: Finding) -> tuple[Expected, ...]:
    """Behind each open pole of the charge contactor, with the bus live: a dead one tells nothing.

    What the brief states in one pole only does not say in which.
    """
    welded = MAIN.sub("string " if study.layout.in_strings else "main ",
                      INLET_WELDED.removeprefix("Above it ").rstrip("."))
    poles = (("_plus", "plus pole", "minus pole of the bus"),
             ("_minus", "minus pole", "plus pole of the bus"))
    found = {0: (), 1: (("", "the pole that it cuts off", "other pole of the bus"),), 2: poles}
    return tuple(Expected(
        f"weld.inlet{name}", f"charge inlet, {pole} to the {other}, charge contactor open, bus "
        "live", "voltage", "V", high=level, how=f"meter with {BESIDE.shown} beside it, and the "
        "controller's own reading; both, once", above=f"{welded}; or a path leads around it, or a "
        "charger feeds") for name, pole, other in found[charge_poles(study)])


def _proven_open(study: ProtectionStudy) -> tuple[str, ...]:
    """One contactor closed at a time; a full start only where a relay fills the link first."""
    if strings_of(study) < 2:
        return ("One full start without torque, one stop. Then each contactor alone, pre-charge "
                "open, link first below the level: voltage from the open one's load side to the "
                "other pole of the battery.",
                "Alternate which contactor opens first, so that both are proven in turn.")
    return (
        "The string that has the relay, and no other: one full start without torque, one stop; "
        "alternate which of its contactors opens first. NEVER A FULL START OF A STRING WITHOUT A "
        "RELAY HERE: it would close its whole voltage onto the empty link. The brief does not say "
        "which string has it: find out, coil leads of the others off.",
        "Then every string, link first below the level, relay open, every contactor of every "
        "string open: from the load side of each of its contactors to the other pole of its own "
        "battery. The battery's voltage there is a welded contact: nothing more is closed.",
        "Only then one contactor of one string closed by itself, every other one open, so that "
        "nothing is joined: voltage from the open one's load side to the other pole of that "
        "battery. Open again before the next.")


def _how_it_falls(figures: Figures) -> str:
    if not figures.link_above_border and not called(figures.pack).class_a:
        return (f"Closed onto the battery the link stands at {figures.pack.full_voltage.shown} at "
                "most, so no fall to 60 V is timed; the one timed from the supply stands for it. "
                "What else may lift it is not known: measured before every touch, and shorted it "
                "burns. Bus voltage just before opening written down.")
    if called(figures.pack).class_a:
        return ("The link never stands above 60 V: its fall is the one timed from the supply, and "
                "shorted it still burns until it has discharged. Bus voltage just before opening "
                "written down.")
    return ("Fall of the link: branches on the bus unplugged (with the bus dead), so that nothing "
            "but the resistor draws; bus voltage just before opening written down, then timed to "
            "60 V. The label carries the longest time that the file for review counts.")


def _fall(figures: Figures) -> tuple[Expected, ...]:
    """The fall from what the bus stood at, held against the time constant read before.

    Of a link that never stands above 60 V, closed onto its battery, the voltage alone.
    """
    open_ = "; ".join(discharge_open(figures.study))
    stood = Expected(
        "weld.link_voltage", "bus just before the contactors open", "voltage", "V",
        low=figures.pack.empty_voltage, high=figures.pack.full_voltage, how="log or meter",
        below="the bus does not stand at the battery's voltage",
        above="more than the battery's highest voltage: stop")
    if not figures.link_above_border:
        return (stood,)
    return (
        stood,
        Expected("weld.fall_time", "link from there to 60 V after opening"
                 + (f" ({open_})" if open_ else ""), "time", "s",
                 low=figures.quickest_fall() or floor(discharge_time(figures.study), LEAST_TIME),
                 high=discharge_time(figures.study),
                 how="log or stopwatch, nothing drawing on the bus",
                 below="something draws on the bus or capacitance is missing: the label must carry "
                       "the longer time; find it",
                 above="discharge path open or high; label the longer time, mend it",
                 lacking="discharge resistor or capacitance is not in the brief; the reading "
                         "becomes the baseline",
                 agrees=Agreement(
                     FALL, ("supply.discharge_alone", "weld.link_voltage"), FALL_WITHIN,
                     "one of the two is not what it was taken for: quicker, something draws on the "
                     "bus; slower, the resistor or a reading is wrong. Time both again, loads "
                     "unplugged; label the longer")))


def charge(figures: Figures) -> Stage:
    """The first charge, attended from beginning to end."""
    coldest, hottest, most = figures.first_charge
    colder, state = _colder(figures), figures.study.circuit.states.state("charge")
    return Stage(
        "charge", "Attended first charge", f"{_live(figures)}; plugged in, inlet and charge cable, "
        "from outside too",
        (f"DO NOT CHARGE unless the coldest cell is at least {coldest.shown}, all the way through: "
         f"cold cells plate lithium unseen and fail later.{colder} Cells follow the air by hours: "
         f"let the vehicle stand warm first. Stop where the hottest passes {hottest.shown}"
         f"{_hotter(figures)}.",
         "A person beside it who can stop it, outdoors or where nothing burns, monitor awake. "
         "Never overnight, never left.",
         *_by_which(figures), *even_first(figures),
         f"Before charging begins, as the file for review has it: {state.before}.",
         "Smallest current of the charger first; every cell on the list; a hand-held meter on "
         "three cells against the monitor.",
         f"Once each under charge: plug asked to come off ({state.failing}; the lock holds the "
         "plug until no current flows; one that no lock holds is not pulled under current: cut the "
         "charger's supply instead), stop pressed (every contactor at once). It must end each "
         "time.",
         "To the end of charging, then an hour at rest; cells and temperatures again."),
        (Expected("charge.cell_coldest", "coldest cell, from before the plug goes in to the end",
                  "temperature", "°C", low=coldest, high=hottest,
                  how="monitor, the lowest it shows",
                  below="do not charge, or stop: these cells bear less current, or none",
                  above=f"{MISREAD}; true, every cell is too hot: stop"),
         Expected("charge.current", "charging current, highest", "current", "A",
                  low=trace(share_of_current, "least current of a first charge that tests "
                            "anything", current=most, share=LEAST_CHARGE), high=most,
                  below=f"{VOID}: so little current proves neither limits nor stops",
                  how="clamp or charger's reading",
                  above="charger is not set as the brief says, or the management system does not "
                        "hold the cells' limit: stop"),
         Expected("charge.end_voltage", "pack at the end of charging", "voltage", "V",
                  low=figures.charge_end(False), high=figures.charge_end(True), how="meter",
                  below="charger ends early, a cell hit its limit, or one is missing",
                  above="charger does not end where set: stop, this is how packs burn"),
         Expected("charge.cell_highest", "highest cell, to the end of charging", "voltage", "V",
                  low=trace(less_error, "least that the monitor shows of the highest cell",
                            voltage=figures.cell_charged, error=MONITOR_ERROR),
                  high=figures.cell_full,
                  how="monitor, three of them by meter",
                  below=f"{MISREAD}: the highest cell stands no lower than the mean of all when "
                        "charging ends; true, it ended early or the monitor reads low: its "
                        "over-voltage trip is then late",
                  above="the over-voltage trip did not act: stop, no charge until it does"),
         Expected("charge.cell_spread", "highest less lowest cell after an hour at rest",
                  "voltage", "mV", high=CELL_SPREAD, how="monitor",
                  above="modules were joined at different charge: balance; if it comes back, a "
                        "cell loses charge"),
         Expected("charge.cell_hottest", "hottest cell or module", "temperature", "°C",
                  low=coldest, high=hottest, how="monitor and infrared",
                  below=f"{MISREAD}; true, every cell is too cold to charge: stop",
                  above="stop, let it cool outdoors: so hot these cells bear less current, or "
                        "none; a joint or a cell heats"),
         *_match(figures),
         yes("charge.stops", "plug asked to come off and stop pressed each end the charge",
             "nobody could stop it: no charge until mended"),
         *((yes("charge.open_again", "after that the charge contactor is proven open again",
                "welded as it broke the charge: replace it, do not reset; until then the inlet "
                "counts as live", how="as at the weld test, bus live, plug out"),)
           if charge_poles(figures.study) else ())),
        (f"the coldest cell stood at {coldest.shown} or above throughout, the hottest at "
         f"{hottest.shown} or below",
         "charge ends by itself, cells agree, nothing grew warm by itself"))


def _match(figures: Figures) -> tuple[Expected, ...]:
    """Onto what the charge contactor closes; one for a station alone is read with the station."""
    brief = figures.brief
    own = not brief.station.current.known or any(b.kind == CHARGERS[0] for b in brief.branch)
    return (Expected(
        "charge.match", "inlet to battery just before the charge contactor closes, the largest",
        "voltage", "V", high=brief.path.charge_difference, how="controller's own reading, once by "
        f"meter too, both readings' errors added; it closes only within it, see the state {MATCH}",
        above="it must stay open: so far apart it makes more than it is held to, and may weld",
        needed=own, lacking=UNBOUNDED),) if charge_poles(figures.study) else ()


def _colder(figures: Figures) -> str:
    """What colder cells bear, band by band."""
    coldest = figures.first_charge[0]
    less = [(edge, limit) for edge, limit in figures.charge_limits
            if edge.number < coldest.number and limit.number > 0]
    if not less:
        return " Below it they bear no charge."
    bands = ", ".join(f"{limit.shown} from {edge.shown}" for edge, limit in less)
    return f" Below it they bear less ({bands}), and below {less[0][0].shown} nothing is charged."


def _hotter(figures: Figures) -> str:
    """What hotter cells bear, band by band; nothing where no band falls within what is in use."""
    hottest = figures.first_charge[1]
    bands = ", ".join(f"{limit.shown} from {edge.shown}" for edge, limit in
                      figures.charge_limits if edge.number >= hottest.number)
    return f": hotter they bear less ({bands})" if bands else ""


def _by_which(figures: Figures) -> tuple[str, ...]:
    """That the vehicle's own charger comes first, where a station is counted on too."""
    station = figures.brief.station.current
    if not station.known:
        return ()
    return (f"By the vehicle's own charger alone. The station ({station.shown} at most) only when "
            "this stage is in band, attended the same way, with its own row of readings.",)


def wheels(figures: Figures) -> Stage:
    """Driven wheels off the ground."""
    return Stage(
        "wheels", "Wheels off the ground", _live(figures),
        (*even_first(figures),
         "Vehicle on stands that cannot tip, nobody in front of or behind it, braking back-feed "
         "set to its least.",
         "Slow: direction forward and back, pedal let go, brake. Emergency stop at low speed. "
         "Key out. Charge plug in: it must not turn.",
         "Watch the bus while the wheels coast: the motor may lift it."),
        (yes("wheels.direction", "it turns as told, both ways", "phases or encoder are crossed"),
         yes("wheels.stops", "emergency stop, key and lost 12 V each end the torque",
             "stop: find which of them does not reach the contactors"),
         yes("wheels.locked", "plug in: no torque", "interlock of the inlet is not wired"),
         Expected("wheels.bus_highest", "highest bus voltage seen", "voltage", "V",
                  low=figures.pack.empty_voltage, high=figures.bus_driven, how="inverter's log",
                  below=f"{MISREAD}: with the contactors closed the bus stands no lower than the "
                        "empty pack; true, it was not closed onto the battery",
                  above="braking or back-voltage lifts the bus above what the closed battery, or "
                        "the inverter's own limit, allows: stop, find which"),
         Expected("wheels.isolation", "isolation with the inverter running", "resistance", "kΩ",
                  low=figures.isolation, how="monitor's reading", needed=figures.brief.path.
                  insulation_monitor != "none", below="motor or inverter leaks: part them and "
                  "measure each")),
        ("everything that must stop it does",))


def limited(figures: Figures) -> Stage:
    """First drive at a quarter of the continuous current."""
    low, high = pack_resistance(figures)
    ceiling = trace(share_of_current, "current limit of the first drive",
                    current=figures.pack.continuous_current, share=FIRST_SHARE)
    seen = trace(sag, "smallest sag at that current", current=ceiling, resistance=low)
    return Stage(
        "limited", "Limited current", _live(figures),
        (*even_first(figures),
         f"Current limit set to {ceiling.shown} or less, a yard without traffic.",
         f"Cells between {COLDEST.shown} and {WARMEST.shown}, charge of 40 to 60 %: elsewhere the "
         "band does not hold.",
         "One steady pull of ten seconds: battery voltage before, at its end, and the current.",
         f"Divide the sag by the current. The sag may be as small as {seen.shown}: the meter must "
         "resolve a twentieth of it; a log in whole volts does not.",
         "The band carries modules and path together: a single joint a few milliohms worse still "
         "lies in it. Its own reading and its temperature tell it, not this one."),
        (Expected("limited.current", "highest battery current", "current", "A",
                  low=trace(share_of_current, "least current of that pull", current=ceiling,
                            share=LEAST_PULL), high=ceiling, how="log",
                  below=f"{VOID}: so small a current makes no sag that can be read",
                  above="the limit does not hold"),
         Expected("limited.cell_temperature", "mean of the cells at that pull", "temperature", "°C",
                  low=COLDEST, high=WARMEST, how="monitor",
                  below="too cold to judge the resistance: drive gently, or wait",
                  above="too warm to judge the resistance: let it cool"),
         Expected("limited.pack_resistance", "sag divided by current, battery to inverter",
                  "resistance", "mΩ", low=low, high=high,
                  how=f"the current held for ten seconds; band: {ground(figures)}",
                  below="current reads high, or voltage was read in the wrong place",
                  above="a poor joint or contact, a weak or cold module: compare the groups' sags "
                        "and the joints' temperatures before more current")),
        ("sag is where the model puts it",))


def warm(figures: Figures) -> Stage:
    """Joint temperatures after the first hour, read without opening the box."""
    return Stage(
        "warm", "Joint temperatures", _live(figures),
        (f"Beforehand, parted: {_parting(figures.study)} Insulated thermocouples, rated for "
         f"{or_more(figures.pack.highest_voltage)} against "
         "chassis, or strips that keep their highest temperature, on every joint, fuse end, "
         "contactor terminal and lug. Covers on, made whole again as at the stage with the pack "
         "on.",
         *even_first(figures),
         "An hour at up to the continuous current; read from outside, covers on. Joints and "
         f"cells that stay below {LEAST_WARM.shown} tell little of a hot day: repeat in milder "
         "air.",
         f"Strips, or infrared on matt tape, need the cover off: {_uncovered(figures)} Gloves, "
         "face shield, insulated tools at every terminal: nothing inside is ever dead.",
         "Write down current, air temperature and each joint; the hottest three into the note."),
        (Expected("warm.joint_hottest", "hottest joint or terminal", "temperature", "°C",
                  low=LEAST_WARM, high=figures.terminal_limit,
                  how="thermocouple, strip, or infrared on matt tape", below=TOO_COLD,
                  above="stop: the part's own terminal limit is passed"),
         Expected("warm.joint_spread", "hottest joint above the median of all",
                  "temperature difference", "K", high=JOINT_SPREAD, how="from the list",
                  above="that joint is worse than its like: open, clean, torque, measure"),
         Expected("warm.cell_hottest", "hottest cell", "temperature", "°C",
                  low=LEAST_WARM, high=figures.brief.battery.hottest, how="monitor",
                  below=TOO_COLD,
                  above="less current, more cooling; find why this one"),
         Expected("warm.air", "air around the pack", "temperature", "°C", needed=False,
                  how="thermometer in the shade", lacking="written down for later comparison")),
        ("no joint stands out", "every part is below its own limit"))


def _uncovered(figures: Figures) -> str:
    """What is done before a cover comes off, and what stays live under it."""
    study = figures.study
    if disconnect_of(study) is None:
        said = "not known whether there is a disconnect" if disconnect_open(study) else \
            "no disconnect"
        return (f"mains open, link waited down and proven dead; {said}: THE WHOLE STRING IS STILL "
                f"LIVE, {up_to(figures.pack)}, up to the contactors.")
    return (f"mains open, {taken_out(study)}, link waited down and proven dead. THE BOX IS "
            f"STILL LIVE: {inside_words(figures)}, and the pole leads with it.")


def _parting(study: ProtectionStudy) -> str:
    """How a whole pack is parted again, in the order that spares sense leads and hands."""
    names = taps_ahead(study)
    off = f"; {', '.join(names)} switched off, so that nothing draws" if names else ""
    first = f"contactors open, 12 V off, charger away{off}"
    leads = leads_before(study)
    if disconnect_of(study) is not None:
        return "; ".join(filter(None, (first, leads, disconnect_out(study),
                                       "link waited down and proven dead.")))
    if not open_after(study):
        return f"{first}; one pole lead off and capped, then the other."
    known = disconnect_out(study) if disconnect_open(study) else "no disconnect to take out"
    return "; ".join(filter(None, (
        first, "link waited down and proven dead", known, leads, f"{place_words(study)}, opened "
        f"{'then' if leads else 'first'}, under the whole voltage and with no current, gloves "
        "on.")))


def retorque(figures: Figures) -> Stage:
    """The joints once more after they have been warm."""
    study = figures.study
    return Stage(
        "retorque", "Torque once more", f"until it is parted the whole string, "
        f"{up_to(figures.pack)}; then {inside_words(figures)}",
        (f"After the first warm runs, cold again. Parted: {_parting(study)} Pole leads off, "
         "capped.",
         "Sense leads that span a joint out before that joint is opened; a joint that is only "
         "turned tighter stays as it is.",
         "Every joint with the torque of its maker; a joint that turns is marked anew and "
         "written down. Never beyond the maker's torque.",
         "Every link measured again with the ids of the build sheet: these readings become the "
         "baseline. Made whole again in the order of the stage with the pack on.",
         *even_first(figures)),
        (yes("retorque.marks", "no joint turned more than its maker allows",
             "joint settles: spring washer, plastic in the stack, soft copper; look at each"),
         *(Expected(f"retorque.isolation_{pole}", f"isolation of the {pole} pole, pack whole, "
                    "contactors open", "resistance", "kΩ", low=figures.isolation_of_battery,
                    how=f"as pack.isolation, load side not joined; {SHARED}; again after rain or "
                    "washing", below="water or dirt found its way in")
           for pole in ("positive", "negative"))),
        ("every reading of this list is in band, dated, and kept as the baseline",))

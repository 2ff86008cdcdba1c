"""The stages below 60 V: joints, dead tests, logic on 12 V, pre-charge, isolation monitor."""

from __future__ import annotations

from packcalc import transients as tr
from packcalc.brief_keys import MONITOR_CHOICES
from packcalc.charging import KINDS, BusLoad
from packcalc.checks import PASS
from packcalc.duties import precharge_asked
from packcalc.feeds import on_the_bus
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.handover.bands import LEAST_RESISTANCE, LEAST_TIME, rule
from packcalc.handover.expected import MISREAD, VOID, Expected, Stage, floor, yes
from packcalc.handover.figures import (
    BOND,
    BORDER,
    LEAST_SUPPLY,
    Figures,
    constant_open,
    open_on_bus,
)
from packcalc.handover.inside import (
    TYPICAL_LINK,
    charge_poles,
    disconnect_of,
    disconnect_open,
    strings_of,
    taps_ahead,
)
from packcalc.handover.parted import (
    contactor_words,
    inside_words,
    links_of_the_sheet,
    place_words,
)
from packcalc.handover.voltage_class import called
from packcalc.protect.insulation import as_open, or_more
from packcalc.protection import ProtectionStudy

BRIDGED = f"{VOID}: the probes bridged it, or the meter's range is too coarse"
NOT_TIMED = f"{VOID}: 0 s is no timing; by log or stopwatch, on the event itself"
LINKS, OPENS = "links", MONITOR_CHOICES[2]
PACK_ON = "The pack through the pre-charge only"
RESPONSE_TIME = leaf("time in which an isolation monitor reports its test resistor", "t", "s", 30.0,
                     "read", source="formula-sae-rules-2014", origin=Origin("EV7.1.2"))
DEAD = rule("voltage that a dead circuit may show", "v", "V", 1.0,
            "our rule: pick-up of a 10 MΩ meter stays below it")
OPEN_CONTACT = rule("resistance of an open contact", "R_k", "MΩ", 10e6,
                    "our rule; a contact with soot or water on it reads lower")
SHARED = ("its share: battery and load side each leak beside the other, so that both together "
          "reach the demand")
FIRST_POLE = rule("voltage that the bus may show with one pole closed", "v", "V", 5.0,
                  "our rule: far below what the resistor would charge it to")
EMERGENCY_TIME = rule("time from the emergency stop to open contactors", "t", "s", 1.0,
                      "our rule; the external cut-off of a competition rule allows under 2 s")


def joints(figures: Figures) -> Stage:
    """What the build sheet leaves behind: links measured, torqued, marked; poles not joined."""
    study = figures.study
    place = place_words(study)
    expected = tuple(Expected(
        j.id, f"{j.place}, with its joints", "resistance", "mΩ",
        low=floor(j.limit, LEAST_RESISTANCE), high=j.limit, like=LINKS, below=BRIDGED,
        how="four-wire milliohm meter, probes on the module terminals, not on the bolt; "
            + TYPICAL_LINK,
        above="dirty, loose or wrongly stacked joint (washer between link and terminal), or the "
              "wrong link: take it apart, clean, torque, measure again; the heat grows with it. "
              "All alike and a little above: the brief names a typical link, not the largest; "
              "write the largest that was read under path.link_resistance and size anew, then it "
              "counts")
        for j in links_of_the_sheet(study))
    left = (f"Left open, both sides capped: {place}. It is closed at the stage \"{PACK_ON}\", "
            "never before.",) if place else ()
    return Stage(
        "build", "Build sheet closed", inside_words(figures) + "; nothing else outside it",
        ("Every line of the build sheet is filled and signed up to here; every link fitted so far "
         "measured.",
         *left,
         "Pole leads, from the first and last module to fuse and contactors: off, capped at the "
         "module's end.",
         "Every check that fails and every place that nobody clears in the file for review is "
         "answered; every mark of the reviewer is read.",
         "Two people, both told what to do; the one who watches can cut the supply and call for "
         f"help. Gloves: {study.circuit.insulation.gloves or 'no class reaches: stop'}, "
         "leather over them, within their test date; face shield; insulated tools; no rings.",
         "Fire: outdoors or a room that can be left open, a way out, the fire service's number."),
        (*expected, yes("build.poles_parted", "pole leads off and capped"
                        + (f", open: {place}" if place else ""),
                        "the string is whole or joined to the load side: part it first",
                        how="look, and cap")),
        ("every link is below its limit and none stands out from its like",
         "the reviewer has marked every decision of the file for review"))


def _ahead(figures: Figures, below: str) -> tuple[Expected, ...]:
    """Isolation of what leaves ahead of the contactors: in no other reading before power."""
    names = ", ".join(taps_ahead(figures.study))
    return tuple(Expected(
        f"dead.isolation_ahead_{pole}", f"isolation of {names}, wires and load, {pole} to chassis",
        "resistance", "kΩ", low=figures.isolation_ahead, how="insulation tester as for the load "
        f"side, their fuses out, from the far side of the fuses; together; {SHARED}", below=below)
        for pole in ("positive", "negative")) if names else ()


def _volts(figures: Figures) -> str:
    """Highest working voltage; "or more" where its chain is not whole."""
    return or_more(figures.pack.highest_voltage)


def dead(figures: Figures) -> Stage:
    """Pole leads off, contactors without coil supply."""
    study, need = figures.study, figures.isolation_of_load
    isolation = ("moist dirt, a crushed cable, coolant, or a filter inside the inverter: part by "
                 "part until it rises; dry, clean, measure again")
    expected = [
        Expected("dead.terminal_voltage", "load side of the contactors, plus to minus", "voltage",
                 "V", high=DEAD, how="meter proven before and after, contactors open, pole leads "
                 "off", above="a contact is welded or bridged, or the link still holds charge: "
                 "stop, find the path"),
        Expected("dead.bond_highest", "highest bond of an exposed metal part to the chassis",
                 "resistance", "mΩ", low=LEAST_RESISTANCE, high=BOND, below=BRIDGED,
                 how="four-wire, at least 0.2 A; write each part "
                 "into the note", above="paint, rust or a missing strap under the joint"),
        *(Expected(f"dead.isolation_{pole}", f"isolation of the load side, {pole} to chassis",
                   "resistance", "kΩ", low=need, how="insulation tester, DC, at or above "
                   f"{_volts(figures)}, pole leads off, isolation monitor's leads off, all live "
                   f"parts joined{_behind_inlet(study)}, until the reading is steady; makers' "
                   f"limits first; {SHARED}",
                   below=isolation) for pole in ("positive", "negative")),
        *_ahead(figures, isolation),
        *_parts(figures),
        Expected("dead.open_contact_lowest", "lowest resistance across an open contact",
                 "resistance", "MΩ", low=OPEN_CONTACT, how="ohmmeter, link discharged, pre-charge "
                 "resistor lifted" + ("; the charge contactor too" if charge_poles(study) else ""),
                 below="a contact that does not open, soot, water, or a path "
                 "around it"),
    ]
    return Stage(
        "dead", "Dead tests", f"{inside_words(figures)}; outside it nothing else, once proven",
        ("Pole leads off and capped, box covered, 12 V off, charger unplugged. "
         + _disconnect_kept(figures),
         "Prove the meter on a known source, measure all pairs and both poles to the chassis, "
         "prove the meter again.",
         "Polarity of each cable by continuity, end to end; no cable joins the two poles.",
         f"Look: torque marks on every joint, covers, {called(figures.pack).cable}, labels; "
         "nothing metal loose."),
        tuple(expected),
        ("load side is dead, isolated and bonded", "polarity of every cable is proven"))


def _behind_inlet(study: ProtectionStudy) -> str:
    """An open charge contactor keeps the inlet's side out of a reading of the bus."""
    return ", those of the charge inlet behind its open contactor too" if charge_poles(study) \
        else ""


def _disconnect_kept(figures: Figures) -> str:
    part = disconnect_of(figures.study)
    if part is not None:
        return f"Plug of {part.tag} kept by the one who works."
    if disconnect_open(figures.study):
        return "The brief does not say whether a disconnect stands inside the string: one that " \
               "is found stays out."
    return "No disconnect stands inside the string: the pole leads and the open place are all " \
           "that parts it."


def _parts(figures: Figures) -> list[Expected]:
    found = []
    if figures.resistor is not None:
        found.append(Expected(
            "dead.precharge_resistor", "pre-charge resistor, as fitted", "resistance", "Ω",
            low=figures.resistance_edge(False), high=figures.resistance_edge(True),
            how="ohmmeter, relay open, one end lifted",
            below="wrong part, or a path around it: it will pass too much current",
            above="wrong part, cracked or overheated"))
    known = figures.capacitance.known
    found.append(Expected(
        "dead.link_capacitance", "capacitance of the bus, every branch on it joined"
        + _lacking(open_on_bus(figures.study)), "capacitance", "mF",
        low=figures.capacitance_edge(False) if known else None,
        high=figures.capacitance_edge(True) if known else None, needed=False,
        how="capacitance meter on the dead, discharged link; a meter that cannot is left out",
        below="capacitor aged or open, or a part is not connected",
        above="more on the bus than the brief says: pre-charge and discharge are slower",
        lacking="capacitance is not in the brief"))
    found.append(Expected(
        "dead.discharge_resistor", "discharge resistor across the link", "resistance", "kΩ",
        low=figures.bleed_edge(False), high=figures.bleed_edge(True), needed=False,
        how="ohmmeter on the dead link, after it has settled, branches unplugged",
        below="a second load lies across the link", above="open: the link will stay charged",
        lacking="resistor is not in the brief; the reading becomes the baseline"))
    return found


def logic(figures: Figures) -> Stage:
    """Coils and logic on 12 V, the pack not connected."""
    pre, crash = figures.brief.precharge, figures.brief.management.crash_open_time
    timeout, cut = pre.timeout, charge_poles(figures.study) > 0
    none = "neither a plus contactor nor the charge contactor" if cut else "no plus contactor"
    these = "the plus contactors" + " and the charge contactor" * cut
    return Stage(
        "logic", "Logic on 12 V",
        f"{inside_words(figures)}; else outside it 12 V only, pole leads off",
        ("12 V from a supply with a current limit; pole leads still off, sense leads still "
         "unplugged. A management system that starts only with cells: write so into the note, and "
         "do this stage's starts again after the sense leads are in.",
         "Start: the order of relays by ear and meter. With no bus voltage the pre-charge must "
         f"run into its timeout and give up, and {none} may close; after {pre.tries.number:g} "
         "tries in a row it must lock out.",
         "Emergency stop, interlock of every cover and connector, crash input, 12 V pulled: each "
         "once, each must drop every contactor. Charge plug in: it locks the drive and drops "
         "none, for charging needs them."),
        (yes("logic.order", "relays close in the order of the switching states",
             "wiring of the coils or the programme is not as drawn"),
         yes("logic.main_stays_open", f"{none} closes while the bus has no voltage",
             "the level is not measured, or bypassed: it would close onto an empty link"
             + "; a charge contactor is first proven open, which takes a live bus" * cut),
         Expected("logic.timeout", "pre-charge gives up after", "time", "s",
                  low=floor(timeout, _least_timeout(figures)), high=timeout,
                  how="stopwatch or log", below=f"{NOT_TIMED}; or {MISREAD}: not even the "
                  "quickest pre-charge is done by then",
                  above="the setting is not what the resistor's energy was sized for"),
         yes("logic.interlock", "each cover and connector opens the loop",
             "a bridged loop or a switch that does not reach"),
         Expected("logic.emergency_time", "emergency stop to contactors open", "time", "s",
                  low=LEAST_TIME, high=EMERGENCY_TIME, how="log or oscilloscope on the coils",
                  below=NOT_TIMED,
                  above="a delay in the loop, or coil suppression that holds it"),
         Expected("logic.crash_time", "crash signal to contactors open", "time", "ms",
                  low=floor(crash, LEAST_TIME), high=crash, below=NOT_TIMED, needed=False,
                  how="signal of the sensor faked at its input",
                  above="slower than the brief says", lacking="time is not in the brief"),
         yes("logic.supply_lost", "12 V pulled: every contactor drops",
             "a coil is held from elsewhere: stop"),
         yes("logic.plug_in", "charge plug in: the drive stays locked",
             "the car can pull away on its cable")),
        (f"every way of switching off was tried and dropped all that had closed; {these}, which "
         "cannot close here, are held to it when they first do",))


def _least_timeout(figures: Figures) -> Finding:
    """The quickest pre-charge, where the brief's timeout leaves room for it."""
    timeout, quickest = figures.brief.precharge.timeout, \
        figures.fastest() if figures.can_precharge else None
    fits = quickest is not None and timeout.known and quickest.number < timeout.number
    return quickest if fits else LEAST_TIME


def supply(figures: Figures) -> Stage:
    """Pre-charge and discharge from a current-limited supply under 60 V."""
    study = figures.study
    minus, plus = (contactor_words(study, pole) for pole in ("minus", "plus"))
    expected = [Expected(
        "supply.voltage", "voltage of the supply, as set", "voltage", "V", low=LEAST_SUPPLY,
        high=BORDER, below=f"{VOID}: so low a supply proves neither the open pole nor the "
        "curve",
        how=f"at the battery side of {minus} and {plus}, where the pole leads belong",
        above="stop: this stage is one under 60 V")]
    if figures.can_precharge:
        expected += [Expected(
            "supply.first_pole", f"bus with {minus} closed alone", "voltage", "V",
            high=FIRST_POLE, how="meter of 10 MΩ or more",
            above=f"{plus} or the pre-charge relay passes current: stop"), *_charge(figures)]
    expected += _discharge(figures)
    first = (f"A supply of {figures.supply.shown}, current limit above "
             f"{figures.peak_edge(figures.supply, True).shown}: one that limits bends the curve "
             "and the share means nothing." if figures.can_precharge else
             "A current-limited supply below 60 V.")
    return Stage(
        "supply", "Pre-charge and discharge from a supply under 60 V",
        f"{inside_words(figures)}; outside it contactors, link and every cable, below 60 V; it "
        "still burns",
        (f"{first} In place of the pole leads, which stay off: plus to the battery side of {plus}, "
         f"minus to the battery side of {minus}.",
         *_woken(figures),
         f"The relay and its resistor lie across {plus} alone: with {minus} open nothing flows. "
         f"So coil lead of {plus} off and taped; {minus} closed alone first: the bus must not "
         f"rise{watched(study)}.",
         *_which_string(study),
         "Then the pre-charge relay; bus voltage recorded (oscilloscope or logger; a hand-held "
         "meter is too slow below a second).",
         f"Relay open, {minus} open, supply off; bus timed on its way down. Three times; write "
         "down each. Then once more with every branch on the bus unplugged (link dead first)."),
        tuple(expected),
        ("charge and discharge follow their curves; nothing else is on the bus",))


def _which_string(study: ProtectionStudy) -> tuple[str, ...]:
    if strings_of(study) < 2:
        return ()
    return ("Every string that has a relay and resistor of its own, one after the other; the other "
            "strings' contactors open. The brief does not say which string has it.",)


def _woken(figures: Figures) -> tuple[str, ...]:
    """What the supply would feed or wake, and what it may, as nobody said when it wakes."""
    ahead, may = taps_ahead(figures.study), open_waking(figures)
    told = {b.name: b.wakes_at
            for b in (*on_the_bus(figures.brief, figures.pack.layout.in_strings),
                      *_powers(figures))}
    names = [name for name, at in told.items()
             if at.known and at.number <= figures.supply.number]
    return (*((f"Fuses out of what leaves ahead of the contactors: {', '.join(ahead)}.",)
              if ahead else ()),
            f"Unplugged, for the supply wakes them: {', '.join(names)}; the bands count their "
            "capacitance, so write it down." if names else
            "Every branch on the bus stays joined, told to be off: its capacitance counts. One "
            "that wakes is unplugged; write down which.",
            *((f"May wake at this voltage, for nobody said at which: {', '.join(may)}. A bus that "
               "hangs below the supply, or falls faster joined than unplugged, is one that woke.",)
              if may else ()))


def _powers(figures: Figures) -> tuple[BusLoad, ...]:
    """Constant powers on the bus, as the pre-charge counts them."""
    return tuple(load for load in precharge_asked(figures.brief, figures.pack).loads
                 if load.kind == KINDS[1])


def open_waking(figures: Figures) -> tuple[str, ...]:
    """Loads on the bus of which nobody said when they wake: counted from the first volt on."""
    return tuple(load.name for load in _powers(figures) if not load.wakes_at.known)


def watched(study: ProtectionStudy) -> str:
    """How long a bus with one pole closed is watched, as in the switching states."""
    time = study.circuit.states.state("first pole").timeout
    return ", for as long as a closed relay needs to raise it" if time is None else \
        f" for {time.shown}, in which a closed relay would have raised it"


def _lacking(lacking: tuple[str, ...]) -> str:
    """What is only counted, beside the title."""
    return f" ({'; '.join(lacking)})" if lacking else ""


def _discharge(figures: Figures) -> list[Expected]:
    """Time constant of the fall: with the whole bus, and by the inverter alone."""
    below = "less capacitance, or a second load across the link"
    above = ("discharge resistor open or high, or more capacitance: the link stays live longer "
             "than its label says")
    lacking = "discharge resistor is not in the brief; the reading becomes the baseline"
    how = "supply parted, timed with a meter of 10 MΩ or more, nothing drawing"
    title = "time of the link to fall to 36.8 % of where it began"
    return [
        Expected("supply.discharge_constant", f"{title}, every branch joined"
                 + _lacking(constant_open(figures.study)), "time", "s",
                 low=figures.discharge_edge(False),
                 high=figures.discharge_edge(True), how=how, below=below, above=above,
                 lacking=lacking),
        Expected("supply.discharge_alone", f"{title}, every branch on the bus unplugged"
                 + _lacking(constant_open(figures.study, alone=True)), "time", "s",
                 low=figures.discharge_edge(False, alone=True),
                 high=figures.discharge_edge(True, alone=True),
                 how=f"{how}; the fall from the full voltage is held against it", below=below,
                 above=above, lacking=lacking)]


def _charge(figures: Figures) -> list[Expected]:
    moment = figures.nominal_constant
    slow = ("more resistance or capacitance than drawn, a load on the bus, or a supply that "
            "limits")
    fast = "less resistance or capacitance than drawn, or a part is not on the bus"
    return [
        Expected("supply.share_at_one_time_constant",
                 f"bus voltage {moment.shown} after closing, as a share of the supply", "ratio",
                 "%", low=figures.share_edge(False), high=figures.share_edge(True),
                 how=f"from the record at {moment.shown}, divided by supply.voltage",
                 below=slow, above=fast),
        Expected("supply.time_constant", "time from closing to 63.2 % of where it settles", "time",
                 "ms" if moment.number < 1.0 else "s",
                 low=figures.constant_edge(False),
                 high=figures.constant_edge(True), how="from the same record", below=fast,
                 above=slow),
        Expected("supply.peak_current", "first current into the empty link", "current", "A",
                 low=figures.peak_edge(figures.supply, False),
                 high=figures.peak_edge(figures.supply, True), needed=False,
                 how=f"current clamp; band for {figures.supply.shown}, and for supply.voltage once "
                     "that is read",
                 below="the supply limits, or the resistor is high",
                 above="resistor low or bridged")]


def monitor(figures: Figures) -> Stage:
    """The isolation monitor with resistors at the very demands."""
    insulation, does = figures.study.circuit.insulation, figures.brief.path.insulation_monitor
    live = f"{inside_words(figures)}; outside it contactors, link and every cable, below 60 V"
    if does == "none":
        return Stage(
            "monitor", "Isolation monitor with a known resistor", live,
            ("The brief names no isolation monitor: this stage then proves nothing; the first "
             "insulation fault stays silent. Say in the note what is done instead.",),
            (yes("monitor.instead", "what is done instead is written down and agreed with the "
                 "reviewer", "nobody would see the first fault"),),
            ("the reviewer has accepted that nothing watches the isolation",))
    warn, trip = insulation.joined, insulation.dc_alone
    opens = does == OPENS
    demands = [("warn", warn, f"warn, or trip (demand: {or_more(warn)}, 500 Ω/V)")]
    if opens:
        demands.append(("trip", trip, "drop the contactors' coil supply (demand: "
                        f"{or_more(trip)}, 100 Ω/V)"))
    heat = trace(tr.resistor_power, "power in the smaller test resistor at the highest working "
                 "voltage", voltage=figures.pack.highest_voltage, resistance=demands[-1][1],
                 note=as_open(figures.pack.highest_voltage))
    return Stage(
        "monitor", "Isolation monitor with known resistors", live,
        ("The supply of the stage before, still joined, contactors open. A monitor that measures "
         "only at a higher voltage: this stage once more with the pack on, before the weld test.",
         *(f"From one pole to the chassis, then from the other: a resistor at or just above "
           f"{or_more(demand)}; it must {must}. A smaller one would prove less than the demand."
           for _, demand, must in demands),
         *_where_tapped(figures.study),
         "The isolation R_i that the dead tests showed lies beside the resistor R and would help "
         "the monitor: R is chosen so that both together, R·R_i/(R + R_i), stand in the band.",
         f"Resistors rated above {_volts(figures)} and for {or_more(heat)} where "
         "they are used again on the whole pack. Off again: the monitor must clear."),
        (*(e for name, demand, must in demands for e in _proof(figures, name, demand, must)),
         yes("monitor.acts", "it does what the brief says of it, and clears with the resistor off",
             "its output is not wired into the loop or the warning", how=f"brief: {does}")),
        ("the monitor sees a fault of the very demand at either pole",))


def _where_tapped(study: ProtectionStudy) -> tuple[str, ...]:
    """A monitor that is not shown to see the battery before the contactors close."""
    check = next((c for c in study.circuit.states.item.checks
                  if c.title.startswith("insulation monitor sees")), None)
    if check is None or check.verdict == PASS:
        return ()
    return (f"Tapped behind the contactors it sees the bus alone while they are open: the resistor "
            f"then goes to the poles of the bus. As drawn, {check.reason}; asked for: "
            f"{check.remedy}.",)


def _proof(figures: Figures, name: str, demand: Finding, must: str) -> tuple[Expected, ...]:
    low, high = figures.test_resistor(demand)
    return (
        Expected(f"monitor.{name}_resistor", f"test resistor with the isolation beside it, to "
                 f"{must}", "resistance", "kΩ", low=low, high=high,
                 how="R by ohmmeter before use; then R·R_i/(R + R_i), R and R_i in the note",
                 below="a monitor that acts only below the demand would pass: take a larger one",
                 above="more than is demanded: a sound monitor may stay silent"),
        *(Expected(f"monitor.{name}_time_{pole}", f"that resistor at the {pole} pole, until it is "
                   "reported" if name == "warn" else f"that resistor at the {pole} pole, until the "
                   "coil supply drops", "time", "s", low=LEAST_TIME, high=RESPONSE_TIME,
                   below=NOT_TIMED,
                   how="stopwatch or log; never: write 999 s",
                   above="set point below the demand, capacitance to chassis slows it, or it does "
                         "not see this pole") for pole in ("positive", "negative")))

"""The stages below 60 V: joints, dead tests, logic on 12 V, pre-charge, isolation monitor."""

from __future__ import annotations

from packcalc import transients as tr
from packcalc.findings import Origin, leaf, trace
from packcalc.handover.bands import rule
from packcalc.handover.expected import Expected, Stage, yes
from packcalc.handover.figures import BOND, BORDER, SUPPLY, Figures

RESPONSE_TIME = leaf("time in which an isolation monitor reports its test resistor", "t", "s", 30.0,
                     "read", source="formula-sae-rules-2014", origin=Origin("EV7.1.2"))
DEAD = rule("voltage that a dead circuit may show", "v", "V", 1.0,
            "our rule: pick-up of a 10 MΩ meter stays below it")
OPEN_CONTACT = rule("resistance of an open contact", "R_k", "MΩ", 10e6,
                    "our rule; a contact with soot or water on it reads lower")
ONE = rule("tolerance of the test resistor", "ΔR", "%", 0.01, "choose a resistor of 1 %")
EMERGENCY_TIME = rule("time from the emergency stop to open contactors", "t", "s", 1.0,
                      "our rule; the external cut-off of a competition rule allows under 2 s")


def joint_ids(figures: Figures) -> tuple[tuple[str, str], ...]:
    """(id, place in words) of every link between two steps."""
    layout = figures.pack.layout
    strings = range(1, layout.parallel + 1) if layout.arrangement == "strings" else (0,)
    return tuple(
        (f"build.joint_{f'{string}_' if string else ''}{k}",
         f"{f'string {string}, ' if string else ''}between step {k} and {k + 1}")
        for string in strings for k in range(1, layout.series))


def joints(figures: Figures) -> Stage:
    """What the build sheet leaves behind: every link measured, torqued and marked."""
    limit = figures.brief.path.link_resistance
    expected = tuple(Expected(
        name, f"link {place}, with its joints", "resistance", "mΩ", high=limit,
        how="four-wire milliohm meter, probes on the module terminals, not on the bolt",
        above="dirty, loose or wrongly stacked joint (washer between link and terminal), or the "
              "wrong link: take it apart, clean, torque, measure again; the heat grows with it")
        for name, place in joint_ids(figures))
    return Stage(
        "build", "Build sheet closed", "every terminal inside the pack, whatever is open",
        ("Every line of the build sheet is filled and signed; every link measured.",
         "No failed check and nobody-clears place of the file for review is still unanswered; "
         "every mark of the reviewer is read.",
         "Two people, both told what to do; the one who watches can cut the supply and call for "
         f"help. Gloves: {figures.study.circuit.insulation.gloves or 'no class reaches: stop'}, "
         "leather over them, within their test date; face shield; insulated tools; no rings.",
         "Fire: outdoors or a room that can be left open, a way out, the fire service's number."),
        expected,
        ("every link is below its limit and none stands out from its like",
         "the reviewer has marked every decision of the file for review"))


def dead(figures: Figures) -> Stage:
    """Sections apart, disconnect out, contactors without coil supply."""
    need = figures.isolation
    isolation = ("moist dirt, a crushed cable, coolant, or a filter inside the inverter: part by "
                 "part until it rises; dry, clean, measure again")
    expected = [
        Expected("dead.terminal_voltage", "load terminals of the pack to each other", "voltage",
                 "V", high=DEAD, how="meter proven before and after, contactors open, disconnect "
                 "out", above="a contact is welded or bridged, or the link still holds charge: "
                 "stop, find the path"),
        Expected("dead.bond_highest", "highest bond of an exposed metal part to the chassis",
                 "resistance", "mΩ", high=BOND, how="four-wire, at least 0.2 A; write each part "
                 "into the note", above="paint, rust or a missing strap under the joint"),
        *(Expected(f"dead.isolation_{pole}", f"isolation of the load side, {pole} to chassis",
                   "resistance", "kΩ", low=need, how="insulation tester, DC, at or above "
                   f"{figures.pack.highest_voltage.shown}, battery parted at its terminals, all "
                   "live parts joined, until the reading is steady; makers' limits first",
                   below=isolation) for pole in ("positive", "negative")),
        *_parts(figures),
        Expected("dead.open_contact_lowest", "lowest resistance across an open contact",
                 "resistance", "MΩ", low=OPEN_CONTACT, how="ohmmeter, link discharged, pre-charge "
                 "resistor lifted", below="a contact that does not open, soot, water, or a path "
                 "around it"),
    ]
    return Stage(
        "dead", "Dead tests", "modules in their sections; nothing on the load side",
        ("Disconnect out and locked away, sections apart, 12 V off, charger unplugged.",
         "Prove the meter on a known source, measure all pairs and both poles to the chassis, "
         "prove the meter again.",
         "Polarity of each cable by continuity, end to end; no cable joins the two poles.",
         "Look: torque marks on every joint, covers, orange cable, symbols, nothing metal loose."),
        tuple(expected),
        ("load side is dead, isolated and bonded", "polarity of every cable is proven"))


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
        "dead.link_capacitance", "DC-link capacitance, all parts together", "capacitance", "mF",
        low=figures.capacitance_edge(False) if known else None,
        high=figures.capacitance_edge(True) if known else None, needed=False,
        how="capacitance meter on the dead, discharged link; a meter that cannot is left out",
        below="capacitor aged or open, or a part is not connected",
        above="more on the bus than the brief says: pre-charge and discharge are slower",
        lacking="capacitance is not in the brief"))
    found.append(Expected(
        "dead.discharge_resistor", "discharge resistor across the link", "resistance", "kΩ",
        low=figures.bleed_edge(False), high=figures.bleed_edge(True), needed=False,
        how="ohmmeter on the dead link, after it has settled",
        below="a second load lies across the link", above="open: the link will stay charged",
        lacking="resistor is not in the brief; the reading becomes the baseline"))
    return found


def logic(figures: Figures) -> Stage:
    """Coils and logic on 12 V, the pack not connected."""
    timeout = figures.brief.precharge.timeout
    crash = figures.brief.management.crash_open_time
    return Stage(
        "logic", "Logic on 12 V", "12 V only; disconnect still out, no section joined to the load",
        ("12 V from a supply with a current limit; nothing of the traction circuit joined.",
         "Start: the order of relays by ear and meter. With no bus voltage the pre-charge must "
         "run into its timeout and give up, and no main may close.",
         "Emergency stop, interlock of every cover and connector, crash input, charge plug in, "
         "12 V pulled: each once, each must drop every contactor."),
        (yes("logic.order", "relays close in the order of the switching states",
             "wiring of the coils or the programme is not as drawn"),
         yes("logic.main_stays_open", "no main closes while the bus has no voltage",
             "the level is not measured, or bypassed: a main would close onto an empty link"),
         Expected("logic.timeout", "pre-charge gives up after", "time", "s",
                  high=timeout, how="stopwatch or log",
                  above="the setting is not what the resistor's energy was sized for"),
         yes("logic.interlock", "each cover and connector opens the loop",
             "a bridged loop or a switch that does not reach"),
         Expected("logic.emergency_time", "emergency stop to contactors open", "time", "s",
                  high=EMERGENCY_TIME, how="log or oscilloscope on the coils",
                  above="a delay in the loop, or coil suppression that holds it"),
         Expected("logic.crash_time", "crash signal to contactors open", "time", "ms", high=crash,
                  needed=False, how="signal of the sensor faked at its input",
                  above="slower than the brief says", lacking="time is not in the brief"),
         yes("logic.supply_lost", "12 V pulled: every contactor drops",
             "a coil is held from elsewhere: stop"),
         yes("logic.plug_in", "charge plug in: the drive stays locked",
             "the car can pull away on its cable")),
        ("every way of switching off has been tried and works",))


def supply(figures: Figures) -> Stage:
    """Pre-charge and discharge from a current-limited supply under 60 V."""
    expected = [Expected(
        "supply.voltage", "voltage of the supply, as set", "voltage", "V", high=BORDER,
        how="at the load side of the disconnect", above="stop: this stage is one under 60 V")]
    if figures.can_precharge:
        expected += _charge(figures)
    expected.append(Expected(
        "supply.discharge_constant", "time of the dead link to fall to 36.8 % of where it began",
        "time", "s", low=figures.discharge_edge(False), high=figures.discharge_edge(True),
        how="supply parted, timed with a meter of 10 MΩ or more",
        below="less capacitance, or a second load across the link",
        above="discharge resistor open or high, or more capacitance: the link stays live longer "
              "than its label says", lacking="discharge resistor or capacitance is not in the "
              "brief; the reading becomes the baseline"))
    first = (f"A supply of {SUPPLY.shown}, current limit above "
             f"{figures.peak_edge(SUPPLY, True).shown}: one that limits bends the curve and the "
             "share means nothing." if figures.can_precharge else
             "A current-limited supply below 60 V in place of the pack.")
    return Stage(
        "supply", "Pre-charge and discharge from a supply under 60 V",
        "the link, below 60 V; it still burns",
        (first, "Loads that wake below the supply's voltage stay unplugged; write down which.",
         "Pre-charge relay closed alone; bus voltage recorded (oscilloscope or logger; a hand-held "
         "meter is too slow below a second).",
         "Supply off, bus timed on its way down. Three times; write down each."),
        tuple(expected),
        ("charge and discharge follow their curves; nothing else is on the bus",))


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
                 low=figures.constant_edge(False), high=figures.constant_edge(True),
                 how="from the same record", below=fast, above=slow),
        Expected("supply.peak_current", "first current into the empty link", "current", "A",
                 low=figures.peak_edge(SUPPLY, False), high=figures.peak_edge(SUPPLY, True),
                 needed=False, how="current clamp; scale with the supply as set",
                 below="the supply limits, or the resistor is high",
                 above="resistor low or bridged")]


def monitor(figures: Figures) -> Stage:
    """The isolation monitor with a known resistor."""
    test = figures.test_resistor
    heat = trace(tr.resistor_power, "power in the test resistor at the highest working voltage",
                 voltage=figures.pack.highest_voltage, resistance=test)
    low = trace(tr.smallest_resistance, "test resistor, 1 % low", unit="kΩ", resistance=test,
                tolerance=ONE)
    high = trace(tr.largest_resistance, "test resistor, 1 % high", unit="kΩ", resistance=test,
                 tolerance=ONE)
    fitted = figures.brief.path.insulation_monitor != "none"
    return Stage(
        "monitor", "Isolation monitor with a known resistor", "the link, below 60 V",
        (f"A resistor of {test.shown} from one pole to the chassis, then from the other; rated "
         f"above {figures.pack.highest_voltage.shown} and for {heat.shown} where it is used again "
         "on the whole pack.",
         "Resistor off again: the monitor must clear."
         if fitted else "The brief names no isolation monitor: this stage then proves nothing; "
         "the first insulation fault stays silent. Say in the note what is done instead."),
        (Expected("monitor.test_resistor", "test resistor, measured", "resistance", "kΩ",
                  low=low, high=high, how="ohmmeter, before use", needed=fitted,
                  below="the test is easier than it should be",
                  above="the test is harder than it should be"),
         *(Expected(f"monitor.time_{pole}", f"resistor at the {pole} pole to report or trip",
                    "time", "s", high=RESPONSE_TIME, how="stopwatch or log", needed=fitted,
                    above="set point too low, capacitance to chassis slows it, or it does not see "
                          "this pole") for pole in ("positive", "negative")),
         Expected("monitor.acts", "it does what the brief says of it", "words", "", how=
                  f"brief: {figures.brief.path.insulation_monitor}", needed=fitted,
                  below="its output is not wired into the loop or the warning")),
        ("the monitor sees a fault at either pole",))

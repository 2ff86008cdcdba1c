"""The entries of a brief: how each is read, what `unknown` means, where to find the figure.

`packcalc.brief` holds what a brief becomes once it is read by these keys.
"""

from __future__ import annotations

from packcalc.bench_keys import OPTIONAL_KEYS
from packcalc.entry_key import Key

TABLES_END = (
    "is colder than the cell tables reach: they end at −20 °C, and nothing published says what "
    "such cells do; write \"-20 degC\" and warm the cells, or keep the contactors open, when it "
    "is colder")
PULSES_END = ("is longer than the cell tables reach: they end at 60 s, and nothing published says "
              "how far the voltage moves after that; write \"60 s\" and ")
NOTHING_TRIED = "nothing is counted on: no layout can be tried without it"
NOT_TRIED = ("nothing is counted on: these modules are not tried, and no layout can be where there "
             "are no others")
HOW_REST = (
    "charge one module fully, measure its capacity, then draw it down to 80, 50 and 20 % of that; "
    "at each let it rest until the reading moves by less than 1 mV in ten minutes, read the "
    "voltage and divide by the cells in series; enter rest_voltages = "
    '{ "20 %" = "… V", "50 %" = "… V", "80 %" = "… V" }')
RULE_CHOICES = ("NFPA 70", "IEC 60364-5-52", "DIN VDE 0298-4", "33 CFR 183")
INSTALL_CHOICES = ("conduit", "surface", "touching in air", "spaced in air", "single in air")
# What an open way of laying counts as where the rule set has no table for conduit.
STRICTEST_INSTALL = {"DIN VDE 0298-4": "touching in air", "33 CFR 183": "touching in air"}
CARRIES_CHOICES = ("traction", "charging")
FUSE_CHOICES = ("one pole", "both poles", "mid-pack")
CHARGE_CONTACTOR_CHOICES = ("none", "one pole", "both poles")
MONITOR_CHOICES = ("none", "warns", "opens the contactors")
TAP_CHOICES = ("before the main fuse", "behind the main fuse", "behind the contactors")
POLES_CHOICES = ("one", "both")
NO_FUSE = "none"  # said of branch.fuse_rating
NO_CONNECTOR = "none"  # said of parts.connector
BRANCH_CHOICES = ("DC/DC converter", "heater", "compressor", "charger", "fast-charge inlet",
                  "sense", "pre-charge", "monitor", "other")
CHARGERS = ("charger", "fast-charge inlet")
NO_LOAD_OF_ITS_OWN = ("sense", "pre-charge", "fast-charge inlet")
NO_CAPACITOR = ("sense", "pre-charge", "monitor")  # wires with no input capacitor behind them
KEYS: tuple[Key, ...] = (
    Key("modules", "count", "number", "N", "", "modules on hand", 1, 100000, required=True,
        consequence=NOT_TRIED, find="count the modules that passed the bench"),
    Key("modules", "state_of_health", "ratio", "SOH", "%", "state of health (capacity left)",
        30, 110, 70, 90,
        "capacity counted at 70 % of the label",
        "measure the capacity of a few modules at C/5 and 25 °C; divide by the label",
        worse="lower"),
    Key("modules", "resistance_growth", "number", "f_age", "", "resistance growth with age",
        0.8, 6, 1.5, 1.1,
        "resistance counted 1.5 times that of a new module for sag and lowest fault, or by the "
        "class's law at the capacity left where that is more; once for the highest fault",
        "one 10 s pulse on a rested module at 25 °C and half charge: enter the reading itself as "
        "resistance, with resistance_pulse, resistance_temperature and resistance_charge, and "
        "write 1 here, for what was measured has aged already; or divide it by the figure of the "
        "same module when new",
        worse="different"),
    Key("modules", "conductor_section", "area", "S_m", "mm²",
        "smallest section of the module's own conductors, between its terminals", 0.5, 2000,
        consequence="whether the module's own conductors survive a fault is not evaluated",
        find="calliper on the thinnest bar of an opened module of the lot; counted as aluminium"),
    Key("modules", "conductor_withstand", "let-through", "I²t_m", "A²s",
        "I²t that the module's own conductors stand", 100, 1e10,
        consequence="whether the module's own conductors survive a fault is not evaluated",
        find="module's maker: highest I²t, or a short-circuit current squared times its time"),
    Key("inverter", "voltage_range", "voltage", "U", "V", "inverter's operating voltage range",
        8, 1500, required=True, pair=("voltage_low", "voltage_high"),
        consequence=NOTHING_TRIED,
        find="inverter's manual: lowest and highest DC operating voltage"),
    Key("inverter", "absolute_maximum", "voltage", "U_abs", "V",
        "inverter's absolute maximum voltage", 8, 2000, None, None,
        "the highest operating voltage counts as the absolute maximum",
        "inverter's manual: maximum DC voltage, also when not running"),
    Key("inverter", "full_power_from", "voltage", "U_fp", "V",
        "voltage below which full power is not available", 8, 1500, None, None,
        "the loaded voltage is asked to stay 10 % above the lowest operating voltage; current and "
        "charge of the peak are counted at the lowest operating voltage itself",
        "inverter's manual: power or current derating against DC voltage", worse="higher",
        unbounded=True),
    Key("inverter", "dc_link_capacitance", "capacitance", "C", "mF", "DC-link capacitance",
        0.01, 100, 3.0, 0.5,
        "pre-charge is sized for 3 mF, more than one inverter usually holds",
        "inverter's manual, or charge the link through a known resistor and time 63 %",
        worse="higher"),
    Key("inverter", "dc_link_tolerance", "ratio", "ΔC", "%", "tolerance of the DC-link capacitance",
        0, 50, 20, 10, "capacitance counted 20 % off, the worse way each time",
        "capacitor's data sheet", worse="higher"),
    Key("inverter", "capacitor_rating", "voltage", "U_C", "V", "rated voltage of the DC-link "
        "capacitors", 8, 3000, None, None, "whether the capacitors bear the highest voltage is "
        "not evaluated", "print on the capacitor, or the inverter's maker"),
    Key("inverter", "semiconductor_rating", "voltage", "U_sc", "V",
        "blocking voltage of the inverter's semiconductors", 8, 5000, None, None,
        "whether the semiconductors bear the highest voltage is not evaluated",
        "inverter's maker, or the data sheet of its power modules"),
    Key("inverter", "overvoltage_reaction", "time", "t_ov", "ms",
        "time in which the inverter stops braking power once its bus is too high", 0.01, 1000,
        None, None, "the rise after a contactor has opened under braking is not evaluated",
        "inverter's maker: over-voltage shut-down, threshold to no current, longest"),
    Key("inverter", "torque_zero_time", "time", "t_τ", "ms",
        "time in which the inverter brings its torque to zero when told", 0.1, 5000, None, None,
        "whether contactors wait for zero current is not evaluated",
        "inverter's manual, or a trace of bus current after the command"),
    Key("inverter", "discharge_resistance", "resistance", "R_d", "kΩ",
        "resistor that stays across the DC link", 0.01, 1000, None, None,
        "how long the link stays charged, and that the pre-charge ends, is not evaluated",
        "inverter's manual, or time the dead link's fall and divide by the capacitance"),
    Key("inverter", "discharge_tolerance", "ratio", "ΔR_d", "%",
        "tolerance of the discharge resistor", 0, 50, 10, 5,
        "discharge resistor counted 10 % off either way",
        "resistor's data sheet; 0 % for a resistance that was measured", worse="higher"),
    Key("power", "peak", "power", "P_pk", "kW", "peak power at the inverter", 0.05, 2000,
        required=True, odd=1, consequence=NOTHING_TRIED,
        find="what the motor and inverter may draw at full pedal"),
    Key("power", "peak_duration", "time", "t_pk", "s", "duration of the peak", 0.1, 60, 30, 10,
        "sag is judged at the end of a 30 s peak",
        "longest full-pedal pull: a slip road, a ramp; inverter's peak time limit", worse="higher",
        beyond=PULSES_END + "give what is drawn for longer as power.continuous"),
    Key("power", "continuous", "power", "P_c", "kW", "continuous power", 0.02, 2000, None, None,
        "half the peak power is counted as continuous; more than published drive cycles of a "
        "light truck ask, less than a long climb at full power",
        "motor's continuous rating, or the power that holds the steepest long climb",
        worse="higher", odd=0.3, unbounded=True),
    Key("power", "peaks_in_life", "number", "n_pk", "", "full-power peaks in the pack's life",
        1, 1e8, 100000, 10000, "fuse is asked to stand 100 000 peaks",
        "full pulls a day times days of use", worse="higher", unbounded=True),
    Key("regeneration", "power", "power", "P_rg", "kW", "braking power fed back", 0.01, 2000,
        None, None,
        "braking power counted as half the peak power",
        "inverter's regeneration setting", zero=True, worse="higher", odd=0.3, unbounded=True),
    Key("regeneration", "duration", "time", "t_rg", "s", "duration of a braking pulse", 0.1, 60,
        10, 5, "voltage rise is judged at the end of a 10 s braking pulse",
        "inverter's setting, or a long downhill stop", worse="higher",
        beyond=PULSES_END + "let the inverter or the management system end braking before it"),
    Key("regeneration", "voltage_limit", "voltage", "U_rg", "V",
        "voltage at which the inverter itself stops braking, upper tolerance", 8, 2000, None, None,
        "no limit is counted on: the rise into a cold pack stands in full",
        "inverter's manual: DC over-voltage regeneration limit with its tolerance"),
    Key("regeneration", "follows_charge_limit", "words", "", "",
        "management system cuts braking to the cells' charge limit in the cold",
        safe="no", other="yes", choices=("yes", "no"),
        consequence="braking power is counted in full even on a cold pack; where the "
                    "inverter's own voltage limit is given, that limit alone counts",
        find="management system's manual: charge current limit sent to the inverter, and proof "
             "that the inverter obeys it"),
    Key("charger", "power", "power", "P_ch", "kW", "charging power", 0.03, 2000, 11, 6.6,
        "charging counted at 11 kW", "charger's plate", worse="higher", odd=0.4, unbounded=True),
    Key("charger", "tolerance", "ratio", "Δ_ch", "%", "tolerance of the charger's end voltage",
        0, 5, 1, 0.5, "full-charge voltage counted 1 % higher", "charger's data sheet",
        worse="higher"),
    Key("charger", "voltage_range", "voltage", "U_ch", "V", "charger's output voltage range",
        8, 1500, pair=("voltage_low", "voltage_high"),
        consequence="whether the charger covers the pack's voltages is not evaluated; full cells "
                    "are counted, whatever the highest charge in use; a charger that ends above "
                    "them asks for more",
        find="charger's plate"),
    Key("battery", "energy_least", "energy", "E_min", "kWh", "least usable energy", 0.05, 2000,
        consequence="no energy is asked for",
        find="distance a day times consumption, plus reserve", odd=1),
    Key("battery", "energy_most", "energy", "E_max", "kWh", "most usable energy", 0.05, 5000,
        consequence="no upper limit on energy",
        find="box, budget or rules", odd=1),
    Key("battery", "charge_lowest", "ratio", "SOC_min", "%", "lowest charge in use", 0, 60, 10, 20,
        "the pack is judged down to 10 % charge", "management system's setting", worse="lower"),
    Key("battery", "charge_highest", "ratio", "SOC_max", "%", "highest charge in use", 50, 100,
        100, 90, "the pack is judged at full charge", "charger's and management system's setting"),
    Key("battery", "coldest_start", "temperature", "θ_min", "°C", "coldest cells at full power",
        -20, 25, -20, -5,
        "sag is judged at −20 °C, the coldest that the cell tables cover",
        "coldest morning at the parking place; the battery heater's setting", ends=TABLES_END),
    Key("battery", "coldest_closed", "temperature", "θ_cl", "°C",
        "coldest cells at which the contactors may be closed", -20, 25, -20, 0,
        "lowest fault is counted at −20 °C, and so are braking into a cold pack, charging and the "
        "joining of strings: cells this cold may still do all of it",
        "management system's lowest temperature for closing; not the temperature for full power. "
        "Below it, and below the lowest charge in use, it must keep the contactors open",
        ends=TABLES_END),
    Key("battery", "hottest", "temperature", "θ_max", "°C", "hottest cells in use", 20, 60, 45, 35,
        "cells are counted as hot as 45 °C", "hottest cell seen on a summer drive", worse="higher"),
    Key("battery", "mass_most", "mass", "m_max", "kg", "most mass of the modules", 1, 20000,
        consequence="no mass limit is asked for",
        find="axle loads and gross mass of the vehicle, weighed"),
    Key("surroundings", "box_ambient", "temperature", "θ_box", "°C",
        "air in the box of fuses and contactors", -10, 85, 50, 40,
        "fuses and contactors are counted in 50 °C air",
        "thermometer in the closed box after a hard drive on a hot day", worse="higher"),
    Key("surroundings", "cable_ambient", "temperature", "θ_cab", "°C", "air around the cables",
        -10, 85, 60, 40, "cables are counted in 60 °C air",
        "thermometer beside the cable route after a hard drive on a hot day", worse="higher"),
    Key("path", "link_resistance", "resistance", "R_ln", "mΩ",
        "resistance of one module link with its joints", 0.001, 5, 0.2, 0.05,
        "each link counted at 0.2 mΩ; a lowest fault through it passes no check",
        "four-wire milliohm meter across a torqued link", worse="higher"),
    Key("path", "fuse_resistance", "resistance", "R_fu", "mΩ", "resistance of the main fuse",
        0.01, 10, 0.5, 0.2,
        "main fuse counted at 0.5 mΩ; a lowest fault through it passes no check",
        "fuse's data sheet: rated power loss divided by rated current squared", worse="higher"),
    Key("path", "contactor_resistance", "resistance", "R_k", "mΩ",
        "resistance of one closed contactor", 0.01, 10, 0.4, 0.2,
        "each contactor counted at 0.4 mΩ; a lowest fault through it passes no check",
        "contactor's data sheet, or voltage drop at a known current", worse="higher"),
    Key("path", "link_section", "area", "S_ln", "mm²",
        "smallest section of a module link or bus bar", 0.5, 5000,
        consequence="whether links and bus bars survive a fault is not evaluated",
        find="calliper on the thinnest link or bar between pack terminals, holes taken off"),
    Key("path", "link_material", "words", "", "", "metal of links and bus bars",
        safe="aluminium", other="copper", choices=("copper", "aluminium"),
        consequence="links and bus bars are counted as aluminium, which stands less",
        find="scratch under the plating: red is copper, white is aluminium"),
    Key("path", "link_limit", "temperature", "θ_ln", "°C",
        "short-time temperature limit of links and bus bars with sleeves and supports", 100, 300,
        160, 200, "links and bus bars counted at 160 °C for a short-circuit",
        "data sheets of sleeve and support: the lower of both", worse="lower"),
    Key("path", "string_cable_length", "length", "l_sc", "m",
        "cables between the modules of one string, beyond the links, all together", 0, 50, 0, None,
        "no cable is counted inside a string, as where links alone join its modules; a lowest "
        "fault or time constant through it passes no check",
        "measure each cable from box to box, or to the disconnect, one way, and add them up; 0 m "
        "where links alone join the modules", worse="higher"),
    Key("path", "string_cable_section", "area", "S_sc", "mm²",
        "smallest section of the cables inside a string", 0.5, 1000, 35, None,
        "cables inside a string are counted as copper of 35 mm²; a lowest fault through them, and "
        "what they carry, pass no check", "print on the cable",
        worse="lower"),
    Key("path", "main_fuse", "words", "", "", "where the main fuse stands",
        safe="one pole", choices=FUSE_CHOICES,
        consequence="the main fuse is counted as standing in one pole alone, our assumption; "
                    "another place changes who clears which fault",
        find="look at the pack, or at its drawing"),
    Key("path", "insulation_monitor", "words", "", "", "what the insulation monitor does",
        safe="none", choices=MONITOR_CHOICES,
        consequence="nobody is counted as seeing the first chassis fault",
        find="data sheet of the insulation monitor, and where its output goes"),
    Key("path", "charge_contactor", "words", "", "",
        "poles in which a charge contactor cuts off the charge inlet",
        safe="none", other="both poles", choices=CHARGE_CONTACTOR_CHOICES,
        consequence="the charge inlet is counted as live whenever the contactors are closed, and "
                    "as behind a contactor that a fault may tear open",
        find="look between bus and charge inlet, or at the drawing: contactors that close only to "
             "charge"),
    Key("path", "charge_difference", "voltage", "ΔU_ch", "V",
        "highest voltage across the charge contactor when it closes", 0, 1500,
        consequence="the charge contactor and its cable's fuse are held as closing onto an empty "
                    "charger, at the highest working voltage; what they would fail by that is not "
                    "evaluated",
        find="charger's or station's manual: how near it brings its side before it asks to close; "
             "or measure it across the open contactor"),
    Key("motor", "back_voltage", "voltage", "U_m", "V",
        "peak line voltage that the spinning motor makes at top speed, unloaded", 0, 3000, None,
        None, "what a motor spinning behind a dead inverter does to the bus is not evaluated",
        "motor's voltage constant times top speed, as peak between two lines; 0 V without magnets"),
    Key("motor", "short_circuit_current", "current", "I_sc", "A",
        "highest short-circuit current of the spinning motor into the DC link, at top speed", 1,
        50000, None, None, "a spinning motor is named as an open source of every fault on the bus, "
        "unless it has no magnets, and its current is in no sum",
        "ask the motor's maker: first peak of the DC current into a shorted link through the "
        "inverter's diodes, at top speed; the machine's characteristic current (peak flux of the "
        "magnets over the d-axis inductance) is only where it settles"),
    Key("station", "voltage", "voltage", "U_st", "V", "ceiling of the charging station's output",
        8, 1500, None, None, "no fast-charge station is counted on; charging at one is not "
        "evaluated, and with a branch for one, or its current, the highest working voltage is at "
        "least what is printed", "station's plate: highest DC output voltage"),
    Key("station", "current", "current", "I_st", "A", "most current asked of the charging station",
        1, 3500, None, None, "no more is counted on than the charger and its branches ask; "
        "where its inlet says neither current nor power, nothing passes by it", "what the vehicle "
        "asks at most, or the "
        "station's plate: highest DC current"),
    Key("station", "capacitance", "capacitance", "C_st", "mF",
        "output capacitance of the charging station", 0, 100,
        consequence="what a station's capacitors give into a fault at the charge inlet is named as "
                    "open and is in no sum; the step of the charge contactor is held without them "
                    "as their wires alone bound it, and what it does to the inlet's fuse is not "
                    "evaluated",
        find="station's data sheet or its operator: capacitors that stay joined to the plug, "
             "behind its last diode or contactor"),
    Key("pack", "disconnect_after", "number", "n_d", "",
        "module after which the service disconnect sits, counted from the negative end", 0, 600,
        None, None, "sections left by the disconnect, and monitors across it, are not evaluated",
        "count along the string; 0 for a pack without one in its middle"),
    Key("pack", "fuse_after", "number", "n_f", "",
        "module after which a fuse sits inside the string, counted from the negative end", 0, 600,
        None, None, "faults and overloads that would pass a fuse inside the string are counted as "
        "passing one that may melt and, unless parts.mid_fuse names it, is not shown to break: "
        "nobody is shown to clear them; monitors across it are not evaluated",
        "count along the string; 0 for a string with no fuse in its middle"),
    Key("insulation", "pollution_degree", "number", "PD", "", "pollution degree", 1, 3, 3, 2,
        "pollution degree 3: dirt that conducts when damp", "is the box sealed, dry and clean "
        "for life (2), or can damp dust settle (3)? the reviewer decides"),
    Key("insulation", "material_group", "words", "", "", "material group of the insulating parts",
        safe="IIIb", other="II", choices=("I", "II", "IIIa", "IIIb"),
        consequence="group IIIb, the weakest, is counted",
        find="comparative tracking index on the plastic's data sheet: 600 I, 400 II, 175 IIIa, "
             "100 IIIb"),
    Key("insulation", "overvoltage_category", "words", "", "", "overvoltage category",
        safe="III", other="II", choices=("I", "II", "III", "IV"),
        consequence="category III is counted",
        find="the reviewer picks it: a floating bus charged from the mains sees at least II",
        worse="higher"),
    Key("insulation", "altitude", "length", "h", "m", "highest altitude of use", 0, 6000, 2000,
        None, "distances hold up to 2000 m", "highest road on the map", worse="higher"),
    Key("insulation", "y_capacitance", "capacitance", "C_Y", "µF",
        "capacitance from one pole to chassis, all parts together", 1e-4, 50, None, None,
        "energy of a touch on one pole is not evaluated",
        "sum of the Y capacitors of inverter, charger and converter, from their makers, or a "
        "capacitance meter from pole to chassis on the dead bus"),
    Key("insulation", "module_resistance", "resistance", "R_mi", "MΩ",
        "isolation resistance of one module to its case, lowest measured", 1e-3, 1e6, None, None,
        "isolation of the whole pack is not evaluated before it is built",
        "insulation tester at 500 V between both terminals joined and the case, every module"),
    Key("insulation", "creepage", "length", "l_cr", "mm",
        "shortest path over a surface between live and touchable or other live parts", 0.1, 500,
        None, None, "creepage is a demand, not a check",
        "calliper or paper strip over the surface"),
    Key("insulation", "clearance", "length", "l_cl", "mm",
        "shortest path in air between live and touchable or other live parts", 0.1, 500,
        None, None, "clearance is a demand, not a check", "calliper, covers on"),
    Key("insulation", "bus_withstand", "voltage", "U_w", "V",
        "lowest short-time voltage that everything on the bus withstands", 10, 20000, None, None,
        "whether the bus stands the arc voltage of a fuse that opens is not evaluated",
        "makers of inverter, charger and converter: highest input voltage for the milliseconds "
        "of a fuse's arc, or rated impulse voltage; the lowest of them"),
    Key("management", "channels_per_monitor", "number", "n_ch", "",
        "cell channels of one monitor", 1, 600, None, None,
        "how monitors divide over the modules is not evaluated", "monitor's data sheet"),
    Key("management", "monitor_order", "words", "", "", "how monitors follow the modules",
        safe="runs on across links", other="restarts at each module",
        choices=("restarts at each module", "runs on across links", "runs on, links measured"),
        consequence="monitors are counted as running on across links, fuse and disconnect",
        find="follow the sense leads from module to module; measured: each joint has a channel, "
             "a fuse or disconnect too"),
    Key("management", "sense_fuse", "words", "", "", "a fuse at the cell end of each sense wire",
        safe="no", other="yes", choices=("yes", "no"),
        consequence="sense wires are counted as having no fuse: nobody clears their faults",
        find="look at the cell end of the sense leads"),
    Key("management", "temperature_sensors", "number", "n_θ", "", "cell temperature sensors", 0,
        100000, None, None, "number of temperature sensors is not evaluated",
        "count what is read, not what is fitted"),
    Key("management", "overvoltage_trip", "voltage", "u_ov", "V", "over-voltage trip of one cell",
        1, 5, None, None, "over-voltage trip is specified, not checked",
        "management system's setting"),
    Key("management", "undervoltage_trip", "voltage", "u_uv", "V", "under-voltage trip of one cell",
        0.1, 4.5, None, None, "under-voltage trip is specified, not checked; with its delay open "
        "too none is counted that might open the contactors too soon",
        "management system's setting"),
    Key("management", "voltage_delay", "time", "t_u", "s", "delay of the cell voltage trips",
        0.01, 60, None, None, "delay of the voltage trips is specified, not checked",
        "management system's setting plus its sampling time"),
    Key("management", "overtemperature_trip", "temperature", "θ_ot", "°C",
        "over-temperature trip of one cell", 30, 100, None, None,
        "over-temperature trip is specified, not checked", "management system's setting"),
    Key("management", "trip_current", "current", "I_t", "A", "over-current trip, discharging",
        1, 20000, None, None, "whether the trip tells a fault from a load is not evaluated; with "
        "its delay open too none is counted that might open the contactors too soon",
        "management system's setting"),
    Key("management", "trip_delay", "time", "t_t", "s",
        "delay of the over-current trip until the contactor has opened", 1e-3, 60, None, None,
        "whether the trip is in time is not evaluated",
        "setting, plus sampling, plus the contactor's release time"),
    Key("management", "trip_blocked_above", "current", "I_bl", "A",
        "current above which every trip keeps the contactors closed and leaves it to the fuse",
        1, 50000, None, None, "the contactors are counted as opening at every current above their "
        "trip, also at more than they break", "management system's setting, and proof that its "
        "current sensor reaches so far"),
    Key("management", "trip_falls_in_cold", "words", "", "",
        "the over-current trip falls with the cells' temperature",
        safe="no", other="yes", choices=("yes", "no"),
        consequence="one fixed current is counted at every temperature",
        find="management system's table of current limits against temperature: give its points "
             "as trip_current_at, this word alone is not judged"),
    Key("management", "overload_trip", "current", "I_ov", "A",
        "overload trip: lower and slower current limit that opens the contactors", 1, 20000, None,
        None, "nobody is counted as ending an overload between load and fault range",
        "management system's setting: a sustained current above the continuous load"),
    Key("management", "overload_delay", "time", "t_ov", "s",
        "delay of the overload trip until the contactor has opened", 0.05, 3600, None, None,
        "whether the overload trip is in time is not evaluated",
        "setting, plus sampling, plus the contactor's release time"),
    Key("management", "current_sensor_range", "current", "I_sr", "A",
        "highest current that the sensor tells apart", 1, 50000, None, None,
        "range of the current sensor is specified, not checked", "sensor's data sheet"),
    Key("management", "current_sensor_error", "ratio", "e_s", "%",
        "error of the current sensor, of its range", 0, 20, 3, 1,
        "error of the current sensor counted 3 % of its range",
        "sensor's data sheet: total error over temperature", worse="higher"),
    Key("management", "balance_current", "current", "I_b", "mA", "balance current of one cell",
        1, 20000, None, None, "whether balancing keeps up is not evaluated",
        "management system's data sheet"),
    Key("management", "self_discharge_spread", "ratio", "s", "%",
        "spread of self-discharge between cells in 30 days, of capacity", 0, 50, None, None,
        "whether balancing keeps up is not evaluated",
        "rest the modules 30 days at one charge; highest loss less lowest, of capacity"),
    Key("management", "isolation_warn", "resistance", "R_w", "kΩ",
        "isolation reading at which the monitor warns", 0.1, 1e5, None, None,
        "isolation warning is specified, not checked", "isolation monitor's setting"),
    Key("management", "isolation_trip", "resistance", "R_t", "kΩ",
        "isolation reading at which the monitor opens contactors", 0.1, 1e5, None, None,
        "isolation trip is specified, not checked", "isolation monitor's setting"),
    Key("management", "crash_open_time", "time", "t_cr", "ms",
        "time from a crash signal to open contactors", 1, 60000, None, None,
        "time to open after a crash is not evaluated",
        "crash sensor's, management system's and contactor's times added"),
    Key("strings", "mismatch", "ratio", "m", "%",
        "resistance of the other strings above that of the best one", 0, 200, 20, None,
        "for parallel strings: the best string has 20 % less resistance than the others",
        "one 10 s pulse on each string at the same temperature and charge", worse="higher"),
    Key("strings", "voltage_error", "voltage", "u_e", "V",
        "error of the measured voltage difference of two strings", 0.001, 20, 1.0, None,
        "for parallel strings: a difference up to 1 V is counted as not seen",
        "data sheet of the meter or monitor at full pack voltage, both readings together",
        worse="higher", unbounded=True),
    Key("strings", "trip_current", "current", "I_st", "A",
        "trip on the current of each string by itself", 1, 20000, None, None,
        "for parallel strings: no trip is counted on for a fault inside a string, which the "
        "pack's own current sensor does not see; with its delay open too none is counted that "
        "might open a string's contactors too soon",
        "management system's manual, if each string has a current sensor of its own"),
    Key("strings", "trip_delay", "time", "t_st", "s",
        "time from that trip until the string's contactor has opened", 0.001, 60, None, None,
        "for parallel strings: no trip is counted on for a fault inside a string",
        "management system's setting plus the contactor's opening time"),
    Key("strings", "sensor_range", "current", "I_ss", "A",
        "highest current that each string's own sensor tells apart", 1, 50000, None, None,
        "for parallel strings: whether the string's sensor reaches its trip is not evaluated; its "
        "error is counted of the setting, or of the pack's sensor where that reaches further",
        "data sheet of the string's own current sensor"),
    Key("cables", "rules", "words", "", "", "cable rule set",
        safe="IEC 60364-5-52", choices=RULE_CHOICES,
        consequence="IEC 60364-5-52 is used, our choice, because it knows every common way of "
                    "laying; another rule set may ask for more",
        find="ask the electrician or certifier which tables they work by"),
    Key("cables", "voltage_drop_limit", "ratio", "Δu", "%", "voltage drop allowed on the cables",
        0.1, 10, 2, 5, "2 % of the lowest bus voltage at continuous current",
        "a choice: less drop costs copper, more costs sag", basis="assumed", worse="lower"),
    Key("cables.route", "length", "length", "l", "m", "one-way length", 0.05, 50, 5, 2,
        "5 m one way; a lowest fault or time constant through it passes no check",
        "a string laid along the route, plus 10 %", worse="higher"),
    Key("cables.route", "install", "words", "", "", "how the cable lies",
        safe="conduit", other="touching in air", choices=INSTALL_CHOICES,
        consequence="the hottest way of laying is counted: in conduit or a closed sill",
        find="look at the route"),
    Key("cables.route", "grouped_circuits", "number", "n_g", "", "circuits lying together",
        1, 20, 2, 1, "one more loaded circuit is counted beside it", "look at the route",
        worse="higher"),
    Key("cables.route", "insulation_class", "temperature", "θ_ins", "°C",
        "temperature class of the insulation", 60, 200, 90, 125,
        "insulation counted at 90 °C", "print on the cable", worse="different"),
    Key("cables.route", "terminal_limit", "temperature", "θ_t", "°C",
        "lower temperature limit of the two terminals", 40, 180, 75, 90,
        "terminals counted at 75 °C", "data sheets of both ends: fuse, contactor, inverter",
        worse="different"),
    Key("cables.route", "joint_limit", "temperature", "θ_j", "°C",
        "short-time temperature limit of lugs and crimps", 100, 300, 160, 200,
        "lugs and crimps counted at 160 °C for a short-circuit", "lug's data sheet", worse="lower"),
    Key("branch", "power", "power", "P_br", "kW", "highest power of the branch", 1e-6, 1000,
        consequence="load of the branch not evaluated, unless its current is given",
        find="plate of the load"),
    Key("branch", "current", "current", "I_br", "A", "highest steady current of the branch",
        1e-6, 3500, consequence="load of the branch not evaluated, unless its power is given",
        find="plate of the load, at the lowest pack voltage"),
    Key("branch", "length", "length", "l", "m", "one-way length from tap to load", 0.01, 50,
        5, None, "5 m one way; a lowest fault or time constant through it passes no check",
        "a string laid along the branch, plus 10 %", worse="higher"),
    Key("branch", "tap_length", "length", "l_t", "mm", "conductor between the tap and its fuse",
        0, 10000, consequence="whether the fuse stands at the tap is not evaluated",
        find="measure from the change of section to the fuse"),
    Key("branch", "section", "area", "S", "mm²", "conductor section of the branch", 0.01, 1000,
        consequence="heating by a fault and the lowest fault at its end are not evaluated",
        find="print on the cable"),
    Key("branch", "insulation_voltage", "voltage", "U_ins", "V",
        "rated DC voltage of the branch's insulation", 10, 10000,
        consequence="insulation of the branch is not evaluated",
        find="print on the cable or its data sheet: DC rating"),
    Key("branch", "insulation_class", "temperature", "θ_ins", "°C",
        "temperature class of the branch's insulation", 60, 200, 90, None,
        "counted as the rule set's coolest for what it carries, at 150 °C for what it stands (and "
        "no hotter than that shown), at 200 °C for the lowest fault", "print on the cable",
        worse="different"),
    Key("branch", "fuse_rating", "current", "I_n", "A", "rated current of the branch's own fuse",
        0.01, 3500, consequence="no fuse of its own is counted on, and one that may stand there "
                                "may melt before another device has cleared",
        find=f'print on the fuse; write "{NO_FUSE}" where there is none'),
    Key("branch", "fused_poles", "words", "", "", "poles in which the branch has a fuse",
        safe="one", choices=POLES_CHOICES,
        consequence="the branch is counted as fused in one pole alone; what a fuse in each takes "
                    "from the lowest fault is counted all the same",
        find="look at both conductors at the tap"),
    Key("branch", "taps", "words", "", "", "where the branch leaves the main circuit",
        safe="before the main fuse", choices=TAP_CHOICES,
        consequence="each of its fault places is tried with every tap and the worst counts; it "
                    "is pre-charged and discharged with the bus",
        find="look at the pack, or at its drawing"),
    Key("branch", "capacitance", "capacitance", "C_br", "mF", "input capacitance of the load",
        0, 100, consequence="1 mF is counted behind the contactors, which may be too little: the "
                            "branch's share of pre-charge and discharge is not evaluated",
        find="load's data sheet, or time 63 % through a known resistor"),
    Key("branch", "wakes_at", "voltage", "U_on", "V", "voltage at which the branch wakes", 0, 1500,
        consequence="the branch is counted as waking at the worst voltage during pre-charge",
        find="load's data sheet: start-up voltage"),
    Key("branch", "input_voltage", "voltage", "U_in", "V",
        "highest DC voltage that the branch's load withstands at its terminals", 5, 10000,
        consequence="whether the load withstands the highest working voltage is not evaluated",
        find="plate or manual of the load: top of its input range; of a charger, of its DC side"),
    Key("precharge", "level", "ratio", "x", "%", "level at which the main contactor may close",
        80, 99.5, 95, 98, "95 % of battery voltage", "contactor's data sheet: making capacity",
        worse="different"),
    Key("precharge", "time_limit", "time", "t_pc", "s", "time the driver may wait", 0.05, 60,
        2, 5, "pre-charge must be done in 2 s", "a choice", worse="lower"),
    Key("precharge", "timeout", "time", "t_to", "s", "time after which a failed try is given up",
        0.1, 120, 10, 4, "a failed try lasts 10 s", "pre-charge controller's setting",
        worse="higher"),
    Key("precharge", "tries", "number", "n_t", "", "tries in a row before lock-out", 1, 20, 3, 1,
        "three failed tries in a row", "pre-charge controller's setting", worse="higher"),
    Key("precharge", "resistor_tolerance", "ratio", "ΔR", "%", "tolerance of the resistor",
        0, 30, 10, 5, "resistance counted 10 % off either way", "resistor's data sheet",
        worse="higher"),
    Key("precharge.load", "resistance", "resistance", "R_L", "Ω", "resistive load on the bus",
        0.1, 1e8, consequence="whether the load lets the bus come up is not evaluated",
        find="load's data sheet or an ohmmeter on the dead bus"),
    Key("precharge.load", "power", "power", "P_L", "W", "constant-power load on the bus", 0.01, 1e5,
        consequence="whether the load lets the bus come up is not evaluated",
        find="load's plate"),
    Key("precharge.load", "wakes_at", "voltage", "U_on", "V", "voltage at which the load wakes",
        0, 1500, None, None, "the load is counted as waking at the worst voltage",
        "load's data sheet: start-up voltage"),
)

# Entries of a module type itself, for the words of what is open; `reading.modules` reads them.
MODULE_TYPE = Key(
    "modules", "label", "words", "", "", "which module: cells in series, capacity, chemistry",
    consequence=NOT_TRIED, required=True,
    find="read the plate of the module or of the donor's box. Without one: count the cells "
         "between the terminals, measure the capacity of one module at C/5 and 25 °C; for the "
         "chemistry ask the donor's maker: voltage alone does not tell NMC, NCA and LMO apart")
REST_VOLTAGES = Key(
    "modules", "rest_voltages", "words", "", "", "rest voltage of a cell at three states of charge",
    consequence="no published curve of the class may be assumed: these modules are not tried",
    find=HOW_REST)
MODULE_RESISTANCE = Key(
    "modules", "resistance", "resistance", "R_m", "mΩ", "resistance of a module as measured",
    consequence="resistance counted from what is published of the class: the largest for sag and "
                "heat, the smallest for the highest fault",
    find="rest one module over night in the cold, draw a steady current for 10 s and divide the "
         "fall of its voltage by the current; enter it as resistance, with resistance_pulse, "
         "resistance_temperature and resistance_charge, and resistance_growth = 1, for what was "
         "measured has aged already", worse="higher")


def key(dotted: str) -> Key:
    """The key of that dotted name."""
    return next(k for k in (*KEYS, *OPTIONAL_KEYS) if k.dotted == dotted)

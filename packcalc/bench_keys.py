"""The entries of [bench] and [donor], sections that a brief need not have.

Their open entries move no layout, so they are no `unknowns`: a threshold left out is a default
with its ground.
"""

from __future__ import annotations

from packcalc.entry_key import Key

BENCH_KEYS: tuple[Key, ...] = (
    Key("bench", "capacity_warn", "ratio", "Q_w", "%", "capacity below which a module is warned "
        "of, share of the label", 30, 110, 80, None,
        "vehicle use ends conventionally at 80 % of the label", "a choice", "read",
        "gbt-34015-3"),
    Key("bench", "capacity_reject", "ratio", "Q_r", "%", "capacity below which a module is "
        "rejected, share of the label", 10, 110, 70, None,
        "no standard sets a line for a conversion; 70 to 80 % is what retired packs are said to "
        "have left", "a choice", "assumed", "ul-1974"),
    Key("bench", "capacity_suspect", "ratio", "Q_s", "%", "capacity above which a reading is "
        "suspect, share of the label", 100, 150, 105, None,
        "more than 105 % of the label is asked about before it counts", "a choice"),
    Key("bench", "resistance_warn", "ratio", "R_w", "%", "resistance above which a module is "
        "warned of, share of its type's figure", 100, 1000, 150, None,
        "half more than its type's figure", "a choice"),
    Key("bench", "resistance_reject", "ratio", "R_r", "%", "resistance above which a module is "
        "rejected, share of its type's figure", 100, 2000, 200, None,
        "twice its type's figure doubles its heat", "a choice"),
    Key("bench", "resistance_suspect", "ratio", "R_s", "%", "resistance below which a reading is "
        "suspect, share of its type's figure", 1, 100, 70, None,
        "less than 70 % of its type's figure is asked about before it counts", "a choice"),
    Key("bench", "isolation_need", "resistance per voltage", "r_iso", "Ω/V",
        "isolation asked of the pack", 50, 100000, 500, None,
        "500 Ω/V, what a pack joined to an inverter must show",
        "the rule that the certifier goes by", "read", "un-r100"),
    Key("bench", "isolation_share", "ratio", "x_iso", "%", "share of the allowed leakage that the "
        "modules may use up", 1, 100, 50, None,
        "half is left for cables, inverter, heater and coolant", "a choice"),
    Key("bench", "modules_in_pack", "number", "N", "", "modules in the finished pack", 1, 100000,
        None, None, "every module on hand is counted", "series count times parallel count"),
    Key("bench", "pack_voltage", "voltage", "U_max", "V", "highest working voltage of the pack",
        12, 2000, None, None, "the largest of the layouts that fit is counted, as it is where "
        "that is more", "the layout"),
    Key("bench", "selfdischarge_quarantine", "ratio", "s_q", "%", "loss of charge in 30 days above "
        "which a module is set aside", 0.1, 50, 3, None,
        "sound lithium cells lose 0.35 to 2.5 % a month, an encyclopaedia prints", "a choice"),
    Key("bench", "selfdischarge_reject", "ratio", "s_r", "%", "loss of charge in 30 days above "
        "which a module is rejected", 0.1, 90, 10, None,
        "four times what a sound cell loses", "a choice"),
    Key("bench", "demand_selfdischarge", "words", "", "",
        "whether a module needs a self-discharge test to be kept", safe="yes",
        choices=("yes", "no"), consequence="a module that was not watched for weeks stays "
        "undecided", find="a choice; a slow internal short shows in no other test"),
    Key("bench", "cell_spread_most", "voltage", "ΔU_c", "mV", "most difference between the cells "
        "of one module at rest", 1, 1000, 50, None,
        "50 mV; sellers' rules differ, no standard was found", "a choice", "common practice"),
    Key("bench", "voltmeter_error", "voltage", "e_U", "mV", "limit of error between two readings "
        "of one voltmeter on a module", 0.01, 1000, 10, None,
        "10 mV: two digits of a meter that shows hundredths", "meter's data sheet"),
    Key("bench", "capacity_error", "ratio", "u_Q", "%", "standard uncertainty of a capacity "
        "reading", 0.01, 20, 1, None, "1 %", "tester's data sheet, divided by √3"),
    Key("bench", "resistance_error", "ratio", "u_R", "%", "standard uncertainty of a pulse "
        "resistance reading", 0.01, 50, 3, None, "3 %", "meters' data sheets"),
    Key("bench", "testers", "number", "n_t", "", "testers that run side by side", 1, 1000, 1, None,
        "one module at a time", "count them"),
    Key("bench", "sharing", "words", "", "", "what modules are dealt for: most capacity, even "
        "sharing inside each group, or between the two", safe="capacity",
        choices=("capacity", "between", "even"),
        consequence="the weakest group is made as strong as possible; sharing comes second",
        find="a choice; the trade table of the assignment shows what each costs"),
    Key("bench", "given_up", "ratio", "x_g", "%", "capacity that may be given up for even "
        "resistance", 0, 5, 0.25, None, "0.25 %, a quarter of a usual measurement error",
        "a choice"),
    Key("bench", "balance_current", "current", "I_b", "A", "current of the bench charger and of "
        "the drain", 0.01, 200, 5, None, "5 A", "plate of the bench charger; rating of the "
        "drain resistor"),
    Key("bench", "count_undecided", "words", "", "", "whether undecided modules are dealt as well, "
        "at the value expected of them", safe="no", choices=("yes", "no"),
        consequence="only modules graded keep are dealt",
        find="a choice, to see what a lot might come to before all of it is tested"),
)
DONOR_KEYS: tuple[Key, ...] = (
    Key("donor", "modules_in_parallel", "number", "P", "", "modules in parallel at each step of "
        "the donor's chain", 1, 20, 1, None, "one", "look, or the maker's drawing"),
    Key("donor", "service_plug_after", "number", "k", "", "section after which the service plug "
        "stands, counted from the minus end", 1, 100, None, None,
        "no plug is counted on: the whole chain stays joined until its first link is out",
        "maker's emergency sheet"),
    Key("donor", "charge", "ratio", "z", "%", "state of charge of the donor", 0, 100, 100, None,
        "voltage and energy are those of a full pack",
        "donor's instrument, or rest voltage of one module"),
    Key("donor", "total_voltage", "voltage", "U", "V", "voltage of the donor, if known", 0, 1500,
        None, None, "no isolation passes, the number of cells is not cross-checked, and energy is "
        "counted as full", "voltmeter between the two terminals at which isolation is read, 0 V "
        "too; a diagnostic socket also shows a pack behind open contactors"),
    Key("donor", "isolation", "resistance", "R_iso", "MΩ", "isolation of the donor to its case",
        0, 1e6, None, None, "no tool may touch the pack before it was measured",
        "two-voltmeter test, each pole to the case, at terminals between which the pack's voltage "
        "stands; behind open contactors or a pulled plug it says nothing of the pack"),
    Key("donor", "crash", "words", "", "", "whether the donor was crashed or burnt", safe="unknown",
        choices=("yes", "no", "unknown"), consequence="its modules are counted as damaged",
        find="insurer's paper, straightness of the case"),
    Key("donor", "water", "words", "", "", "whether the donor stood in water", safe="unknown",
        choices=("yes", "no", "unknown"), consequence="its modules are counted as wetted",
        find="tide mark, silt, rust of fixings"),
    Key("donor", "compression", "words", "", "", "whether end plates press the modules together",
        safe="yes", choices=("yes", "no"), consequence="the modules are counted as pressed: they "
        "may swell when the plates come off", find="long bolts or bands round a stack"),
)
OPTIONAL_KEYS = (*BENCH_KEYS, *DONOR_KEYS)

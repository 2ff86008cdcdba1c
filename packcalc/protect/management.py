"""Specification of the management system: channels, limits, sensors, trips, balancing.

What it must measure and when it must act so that the fuse's range and the trip's range
meet, a fault is told apart from a load, and no monitor ever sees the voltage of an open
link, fuse or disconnect.
"""

from __future__ import annotations

from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, PASS, Check, Item, Requirement, judge, on_an_open_entry,
)
from packcalc.electrical import resistance_sum
from packcalc.findings import Finding, Origin, largest, leaf, trace, with_more
from packcalc.monitoring import (
    LINKS_MEASURED,
    RESTARTS,
    Monitor,
    balance_time,
    cell_share,
    divide,
    fault_cell_voltage,
    mean_balance,
    monitors_needed,
    sensor_deviation,
    sensors_for_share,
    spread_current,
    trip_highest,
    trip_lowest,
)
from packcalc.part_checks.cells_left import CellsLeft, sees_faults
from packcalc.part_checks.limits import (
    COUNTED_TIME, OVERLOAD_LIMIT,
    RULE, Limit, ManagementAsked, cell_limits, charge_bands,
    charge_floor, closing_bar, limits_of, modules_current, overload_window, range_needed, reach,
    string_alone, tolerance_open, trip_lines, where_known,
)
from packcalc.part_checks.management import (
    at_least_both, cell_span, error_counted, monitors_asked, range_counted,
)
from packcalc.part_checks.overload import SAY_DELAY
from packcalc.part_checks.shown import counted, rounded
from packcalc.value import replace, value_object

TITLE = "Management system: what it must measure and when it must act"
NO_MONITOR = counted("monitors that may span it", 0, "definition")
STAGE_VOLTAGE = "highest voltage"
CLOSE_CHARGER = ("charger.tolerance is left open: a charger that ends at its very set point is "
                 "counted, which leaves the trip least")

SENSED_SHARE = leaf("share of cells whose temperature is seen", "x", "%", 0.30, "read",
                    source="formula-sae-rules-2014", origin=RULE,
                    note="rule of a student competition; no road rule was found")
BALANCE_SHARE = leaf("share of time in which balancing works", "x", "%", 0.10, "assumed",
                     source="packcalc-rule", origin=RULE,
                     note="charging at the top of the window alone; ask when it balances")

PLUG_ORDER = (
    "Contactors open, disconnect out, charger away; prove dead outside the box.",
    "Join the modules with their power links inside each section first, torque and mark each.",
    "Measure every cell tap at the loose connector against the monitor's pin list: polarity, "
    "order, one cell step from pin to pin, no jump across a link.",
    "Plug the sense leads of one monitor at a time, lowest cells first, as its maker orders; never "
    "plug sense leads while a power link between their cells is off: the whole string's current "
    "and voltage would find its way through the sense wires.",
    "Put the disconnect and the last link in only with every monitor plugged and silent.",
    "To take apart: sense leads that span the disconnect, disconnect out, the other sense leads, "
    "then power links; never a power link before the sense leads that span it.",
)

NOTES = (
    "Every cell in every paralleled stack needs its own channel; never join sense taps of two "
    "stacks with signal wire.",
    "A monitor across a fuse, disconnect or link sees the whole string's voltage when that opens, "
    "many times what it is made for.",
    "Each sense wire leaves a source of kiloamperes: a fuse at the cell end, rated in DC for the "
    "whole pack's voltage, and insulation for the whole pack's voltage.",
    "Over-current, over-voltage and over-temperature trips open the contactors without asking the "
    "inverter or the charger; the request for zero torque goes out first, where there is time.",
    "Temperature is read at the negative terminal of the cell or within 10 mm of it "
    "[formula-sae-rules-2014].",
    "Nobody charges with the management system asleep.",
)


# --- what is asked and what comes out -------------------------------------------------


@value_object
class ManagementResult:
    """The specification.

    Attributes:
        limits: warn, trip and delay of each quantity.
        monitors: along one string or stack, as the brief orders them; empty where not known.
        plug_order: in order.
        item: as put to the reviewer.
        trips: both current trips as they are asked for beside fuse and contactor.
    """

    limits: tuple[Limit, ...]
    monitors: tuple[Monitor, ...]
    plug_order: tuple[str, ...]
    item: Item
    trips: tuple[Requirement, ...] = ()


def specify_management(asked: ManagementAsked) -> ManagementResult:
    """Specification and checks of the management system."""
    limits = limits_of(asked)
    monitors = divide(asked.module_cells, _channels(asked), asked.brief.management.monitor_order,
                      _between(asked))
    checks = (*_monitor_checks(asked, monitors), *_sensor_checks(asked), *_voltage_checks(asked),
              *_trip_checks(asked), *_balance_checks(asked))
    item = Item(
        key="management", title=TITLE,
        governing=_governing(asked), duty=_duty(asked),
        specification=_specification(asked, limits), open_items=_open_items(asked),
        notes=NOTES, checks=checks)
    return ManagementResult(limits, monitors, PLUG_ORDER, item, trip_lines(asked))


def _governing(asked: ManagementAsked) -> str:
    lowest = asked.fault_lowest.most + asked.fault_lowest.shown
    if asked.fault_lowest.number <= asked.pack.peak_current.number:
        return (f"the lowest fault ({lowest}, cold, nearly empty) does not "
                f"lie above the peak load ({asked.pack.peak_current.shown}): no fixed current "
                "tells them apart")
    return (f"trips between the peak load ({asked.pack.peak_current.shown}) and the lowest fault "
            f"({lowest})")


# --- monitors -------------------------------------------------------------------------

def _channels(asked: ManagementAsked) -> int:
    channels = asked.brief.management.channels_per_monitor
    return int(channels.number) if channels.known else 0


def _between(asked: ManagementAsked) -> dict[int, str]:
    """What lies after each module but the last: a link, a fuse, the disconnect, or both."""
    places = asked.brief.pack
    stand = [(int(place.number), word) for place, word in (
        (places.fuse_after, "fuse"), (places.disconnect_after, "disconnect")) if place.known]
    return {after: " and ".join(w for at, w in stand if at == after) or "link"
            for after in range(1, len(asked.module_cells))}


def _monitor_checks(asked: ManagementAsked, monitors: tuple[Monitor, ...]) -> tuple[Check, ...]:
    titles = {"disconnect": "no monitor across the service disconnect",
              "fuse": "no monitor across a fuse inside the string",
              "link": "no monitor across a bolted link"}
    brief = asked.brief
    places = {"disconnect": brief.pack.disconnect_after, "fuse": brief.pack.fuse_after}
    if not monitors:
        why = ("say how many channels one monitor has; a new monitor at each module spans nothing")
        return (*(Check(t, "who clears", NOT_EVALUATED, reason=why) for t in titles.values()),
                _sense_check(asked))
    found = []
    for word, title in titles.items():
        place = places.get(word)
        if place is not None and not place.known and brief.management.monitor_order != RESTARTS:
            found.append(Check(title, "who clears", NOT_EVALUATED, reason=f"say where: "
                               f"{place.title}; 0 where there is none"))
            continue
        found.append(_span_check(title, word, monitors, brief.management.monitor_order))
    if brief.left_open("management.monitor_order"):
        found = [on_an_open_entry(c, "their order is left open: counted as running on across links")
                 for c in found]
    return (*found, _sense_check(asked))


def _span_check(title: str, word: str, monitors: tuple[Monitor, ...], order: str) -> Check:
    across = [(m, s) for m in monitors for s in m.spans if word in s]
    found = counted(f"monitors across a {word}", len(across), "definition", Origin("layout"))
    if not across:
        return judge(title, "who clears", found, "at most", NO_MONITOR,
                     reason=f"{len(monitors)} monitors along the string")
    named = "; ".join(f"{m.shown} across the {s}" for m, s in across[:4])
    more = f"; and {len(across) - 4} more" if len(across) > 4 else ""
    remedy = "begin a new monitor there"
    if order == LINKS_MEASURED and word != "link":
        more += ", which has a channel of its own"
        remedy += ", and no channel across that place"
    if word == "link" and order == LINKS_MEASURED:
        return Check(title, "who clears", CAUTION, found, NO_MONITOR, "at most",
                     f"{named}{more}: each link has a channel of its own, which must bear the "
                     "whole string's voltage when the link opens",
                     "the monitor's maker states it, or " + remedy)
    return judge(title, "who clears", found, "at most", NO_MONITOR,
                 reason=f"{named}{more}: when it opens, the whole string's voltage stands across "
                        "that monitor", remedy=remedy)


def _sense_check(asked: ManagementAsked) -> Check:
    title = "a fuse at the cell end of each sense wire"
    fused = asked.brief.management.sense_fuse
    if fused == "no":
        open_ = "left open and counted as none; look at the cell end of the sense leads: " \
            if asked.brief.left_open("management.sense_fuse") else ""
        return Check(title, "who clears", FAIL, reason=f"{open_}nobody clears a fault of a sense "
                     "wire: it is fed by the whole pack",
                     remedy="a small DC fuse at each tap, rated for the whole pack's voltage, or "
                            "a fusible track that its maker states")
    described = [b for b in asked.brief.branch if b.kind == "sense"]
    if not described:
        return Check(title, "who clears", CAUTION, reason="fitted; its DC rating and breaking "
                     f"capacity for up to {asked.fault_highest.shown} are to be shown",
                     remedy="the fuse's data sheet, and a [[branch]] with kind = \"sense\"")
    # What it must break stands once, with its branch: there the taps' own fault is counted.
    where = " and ".join(b.name for b in described)
    held = judge(title, "who clears", counted(
        "sense branches whose fuse is named from the parts list",
        sum(bool(b.fuse_part) for b in described), "given", described[0].length.origin),
        "at least", counted("sense branches", len(described), "definition"),
        reason=f"fitted; its DC rating and breaking capacity are held with the branch {where}",
        remedy="name the fuse of each sense branch from the parts list: fuse_part")
    return held if held.verdict != FAIL else replace(held, verdict=CAUTION)


# --- limits ---------------------------------------------------------------------------


def _voltage_checks(asked: ManagementAsked) -> tuple[Check, ...]:
    own, cell = asked.brief.management, cell_limits(asked)
    close = CLOSE_CHARGER if tolerance_open(asked.brief) else ""
    return (
        judge("charger ends its charge before it overshoots a full cell", STAGE_VOLTAGE,
              cell["charger"], "at most", cell["limit"],
              reason="at the upper tolerance of its end voltage, every cell alike",
              remedy="a charger of closer tolerance, or a lower set point"),
        judge("over-voltage trip within the cell's limit", STAGE_VOLTAGE, own.overvoltage_trip,
              "at most", cell["over"], missing=f"set it to {cell['over'].shown} or below",
              reason=close, remedy="a lower trip, or the charger's tolerance, stated" if close
              else "a lower trip"),
        _above_charging(own.overvoltage_trip, cell),
        judge("under-voltage trip above the cell's lowest", STAGE_VOLTAGE, own.undervoltage_trip,
              "at least", cell["under"], missing=f"set it to {cell['under'].shown} or above",
              remedy="a higher trip"),
        judge("over-temperature trip within the cell's limit", "thermal load",
              own.overtemperature_trip, "at most", cell["hot"],
              missing=f"set it to {cell['hot'].shown} or below", remedy="a lower trip"),
    )


def _above_charging(trip: Finding, cell: dict[str, Finding]) -> Check:
    """The charger's tolerance counts: inside it a charge may end in a trip, under load."""
    remedy = ("a charger of closer tolerance, a lower end of charging, or a higher trip within the "
              "cell's limit")
    held = judge("over-voltage trip above the end of charging", "convenience", trip, "at least",
                 cell["ended"], missing="no setting given", remedy=remedy,
                 reason="end of charging at the charger's upper tolerance")
    if held.verdict != FAIL or trip.number < min(cell["full"].number, cell["ended"].number):
        return held
    return replace(held, verdict=CAUTION, reason="a charger at the upper end of its tolerance ends "
                   "every charge in a trip, which opens contactors under the charging current")


def _sensor_checks(asked: ManagementAsked) -> tuple[Check, ...]:
    need = _sensors(asked)
    held = judge("temperature of at least 30 % of the cells is seen", "thermal load",
                 asked.brief.management.temperature_sensors, "at least", need,
                 missing=f"count the sensors that are read: {need.shown} wanted")
    if held.verdict == FAIL:
        held = Check(held.title, held.stage, CAUTION, held.figure, need, held.relation,
                     "rule of a student competition; a cell that nobody sees can run away unseen",
                     "sensors on the hottest places first: middle of the stack, far from cooling")
    return (held,)


def _sensors(asked: ManagementAsked) -> Finding:
    channels = leaf("cell voltages monitored", "n", "", asked.pack.channels, "definition",
                    origin=Origin("layout"))
    return trace(sensors_for_share, channels=channels, share=SENSED_SHARE)


# --- trips and the fuse ---------------------------------------------------------------

def _trip_checks(asked: ManagementAsked) -> tuple[Check, ...]:
    return (_told_apart(asked), _below_peak(asked), *_told_from_rest(asked), _meets_fuse(asked),
            _guards_modules(asked), _in_range(asked), _in_time(asked), *_under_voltage(asked),
            *_unset_checks(asked))


def _trip_band(asked: ManagementAsked) -> tuple[Finding, Finding] | None:
    """The trip's setting less and plus the sensor's error; None where either is not known."""
    own = asked.brief.management
    if not (own.trip_current.known and own.current_sensor_range.known):
        return None
    if asked.settings is None and asked.follows is not None:  # full power outside its points
        return None
    least, most = asked.settings or (own.trip_current, own.trip_current)
    off = {"error": own.current_sensor_error, "full_range": own.current_sensor_range}
    return trace(trip_lowest, trip=least, **off), trace(trip_highest, trip=most, **off)


NO_CONTACTOR = ("the lowest fault is that of a loop without a contactor, which no trip opens "
                "whatever its setting: held against it all the same, as a setting below it is "
                "quick where one stands")
PROVE_COLD = "prove that trip at the coldest cells and at the warmest"
ASK_TRIP = ("say trip current and range of the current sensor (management.trip_current, "
            "management.current_sensor_range)")


def _told_apart(asked: ManagementAsked) -> Check:
    """A fixed current can only part fault and load when the lowest fault is the larger."""
    title = "a fixed current trip tells the lowest fault from the peak load"
    load, fault = asked.pack.peak_current, asked.fault_lowest
    band = _trip_band(asked)
    if asked.follows is not None:
        opened = asked.opened(band[1].number) if band and asked.follows.verdict == FAIL else ""
        return replace(asked.follows, verdict=CAUTION, reason=f"{asked.follows.reason}; {opened}") \
            if opened else asked.follows
    falls = asked.brief.management.trip_falls_in_cold == "yes"
    if fault.number <= load.number and falls:
        return Check(title, "who clears", CAUTION, fault, load, "above", "one fixed current cannot "
                     "tell them apart; the limit is said to fall in the cold: prove it at the "
                     "coldest cells", "the table of limits against temperature, as set")
    opened = asked.opened(load.number)
    if fault.number <= load.number and opened:
        return Check(title, "who clears", CAUTION, fault, load, "above",
                     f"one fixed current cannot tell them apart; {opened}", PROVE_COLD)
    if fault.number <= load.number:
        return Check(title, "who clears", FAIL, fault, load, "above",
                     "the cold fault is no larger than the warm peak load: nobody clears it by a "
                     "fixed current", "a current limit that falls with cell temperature and "
                     "charge, or an under-voltage trip of the cells quicker than the counted time")
    held = judge(title, "who clears", band[1] if band else None, "at most", fault,
                 reason=NO_CONTACTOR if asked.no_contactor else "",
                 missing=f"{ASK_TRIP}; it must act between {load.shown} and "
                         f"{fault.most}{fault.shown}",
                 remedy="a lower trip or a better sensor; else a temperature-dependent limit or "
                        "an under-voltage trip")
    opened = asked.opened(band[1].number) if band and held.verdict == FAIL else ""
    return replace(held, verdict=CAUTION, reason=f"as set it misses the smallest of them; {opened}",
                   remedy=f"{held.remedy}; {PROVE_COLD}") if opened else held


def _below_peak(asked: ManagementAsked) -> Check:
    band = _trip_band(asked)
    return judge("current trip lies above the peak load", "convenience", band[0] if band else None,
                 "at least", asked.pack.peak_current, missing=ASK_TRIP,
                 remedy="a higher trip, a better sensor or less peak power: it opens contactors "
                        "at full load")


def _told_from_rest(asked: ManagementAsked) -> tuple[Check, ...]:
    """A sensor whose error reaches the setting trips at rest, or never."""
    band = _trip_band(asked)
    if band is None or band[0].number > 0:
        return ()
    return (Check("the sensor's error leaves the trip a meaning", "who clears", FAIL, band[1],
                  asked.pack.peak_current, "", "the error of the sensor is as large as the trip's "
                  "setting: it may act with no current at all", "a sensor of a smaller range or "
                  "error"),)


def _meets_fuse(asked: ManagementAsked) -> Check:
    """Trip and fuse must overlap: below the take-over only the contactor opens a fault."""
    band = _trip_band(asked)
    takes = asked.takeover
    missing = [ASK_TRIP] if band is None else []
    if not takes.known:
        missing.append("ask the fuse's maker for the current from which it opens within 1 s")
    return judge("trip acts below the current at which the fuse takes over", "who clears",
                 band[1] if band else None, "at most", takes, missing="; ".join(missing),
                 remedy="a lower trip, or a quicker fuse: between both nobody clears")


def _guards_modules(asked: ManagementAsked) -> Check:
    """Cable and fuse say nothing of the cells: the overload trip must guard them too."""
    title, limit = "overload trip ends an overload of the modules", modules_current(asked)
    own = asked.brief.management
    if not limit.known:
        return Check(title, "thermal load", NOT_EVALUATED, None, None, "at most",
                     f"{limit.title} is not known: ask the modules' maker, then set the overload "
                     "trip with the sensor's error below it")
    window = overload_window(asked, cables=False)
    assert window.most is not None
    told = (f"no trip guards the modules: set management.overload_trip, with its delay, at or "
            f"below {window.most.shown}")
    if string_alone(asked):
        told += f", as one string alone in bears {limit.shown}"
    if not window.serves_both and window.least is not None:
        told += (f"; the continuous load asks for at least {window.least.shown}: a better sensor, "
                 "less continuous power or more in parallel first")
    if not own.overload_trip.known:
        return Check(title, "thermal load", NOT_EVALUATED, None, limit, "at most", told)
    span = reach(asked)
    held = judge(title, "thermal load", with_more(
        trace(trip_highest, trip=own.overload_trip, error=own.current_sensor_error,
              full_range=span), span.untold_more), "at most", limit,
        reason="the setting plus the sensor's error")
    if held.verdict == FAIL:
        return replace(held, verdict=CAUTION, reason=f"{told}; above it only their temperature "
                       "trips act", remedy="a lower overload trip, a better current sensor, more "
                                           "in parallel")
    if held.verdict == PASS and not own.overload_delay.known:
        return replace(held, verdict=NOT_EVALUATED, reason=SAY_DELAY)
    return held


def _unset_checks(asked: ManagementAsked) -> tuple[Check, ...]:
    """Trips that packcalc asks for and no entry of the brief holds: open until somebody shows."""
    bands = charge_bands(asked)
    return (
        Check("no contactor closes on colder or emptier cells than counted", "who clears",
              NOT_EVALUATED, None, asked.brief.battery.coldest_closed, "at least",
              f"no proof is known: show none below {closing_bar(asked.brief)}"),
        Check("charging is stopped below the coldest cell that may be charged", "thermal load",
              NOT_EVALUATED, None, charge_floor(asked), "at least", "no setting is known: show in "
              f"the management system that charger and braking stop at or below "
              f"{charge_floor(asked).shown}"),
        Check("trip of the charging current follows the cells' charge limit", "thermal load",
              NOT_EVALUATED, None, None, "", f"no setting is known: {bands}"),
        Check("trip of the braking current follows the cells' charge limit", "thermal load",
              NOT_EVALUATED, None, None, "", f"no setting is known: {bands}; with the pulse that "
              "the cells' maker allows, where there is one"))


def _in_range(asked: ManagementAsked) -> Check:
    """The sensor must tell apart every current up to where the fuse takes over."""
    own = asked.brief.management
    highest = range_needed(asked)
    check = judge("current sensor reaches the highest current to be told apart", "who clears",
                  own.current_sensor_range, "at least", highest,
                  missing=f"read the sensor's range: at least {rounded(highest, True)}",
                  remedy="a sensor with a wider range")
    if check.verdict == PASS and not asked.takeover.known:
        return Check(check.title, check.stage, NOT_EVALUATED, check.figure, highest, "at least",
                     "reaches the peak load; the current at which the fuse takes over is not known",
                     "ask the fuse's maker")
    return check


def _in_time(asked: ManagementAsked) -> Check:
    return judge("trip has opened the contactor within the counted time", "who clears",
                 asked.brief.management.trip_delay, "at most", COUNTED_TIME,
                 missing="say the delay with sampling and the contactor's release time "
                         "(management.trip_delay)",
                 remedy="a shorter delay")


def _cells_in_series(asked: ManagementAsked) -> Finding:
    return leaf("cells in series", "n", "", asked.cells, "definition", origin=Origin("layout"))


def _fault_cell(asked: ManagementAsked) -> CellsLeft:
    if asked.fault_cell is not None:
        return asked.fault_cell
    external = trace(resistance_sum, "path and cables outside the modules", unit="mΩ",
                     first=asked.pack.path, second=asked.pack.cables_long)
    return CellsLeft(trace(fault_cell_voltage, current=asked.fault_lowest, external=external,
                           cells=_cells_in_series(asked)))


def _loaded_cell(asked: ManagementAsked) -> Finding | None:
    if not asked.pack.loaded_voltage.known:
        return None
    return trace(cell_share, "mean voltage of one cell at the end of the peak, cold and nearly "
                 "empty", voltage=asked.pack.loaded_voltage, cells=_cells_in_series(asked),
                 note=asked.pack.loaded_voltage.note)


def _under_voltage(asked: ManagementAsked) -> tuple[Check, ...]:
    trip = asked.brief.management.undervoltage_trip
    left = _fault_cell(asked)
    checks = [sees_faults("under-voltage trip sees the lowest fault", trip, left,
                          missing=f"set it above {left.worst.least}{left.worst.shown}: it then "
                                  "tells a cold fault from a load", remedy="a higher trip")]
    checks.append(_below_loaded(asked, trip))
    delay = asked.brief.management.voltage_delay
    checks.append(judge("under-voltage trip acts within the counted time", "who clears", delay,
                        "at most", COUNTED_TIME,
                        missing="say the delay of the voltage trips (management.voltage_delay)",
                        remedy="a second, quicker threshold for faults"))
    return tuple(checks)


def _below_loaded(asked: ManagementAsked, trip: Finding) -> Check:
    title = "under-voltage trip lies below the loaded cells at the end of the peak"
    remedy, loaded = "less power in the cold, or the trip opens contactors at full load", \
        _loaded_cell(asked)
    if loaded is None:
        return Check(title, "who clears", FAIL, where_known(trip), None, "",
                     "no current carries the peak power, cold and nearly empty: the cells fall "
                     "through every trip, and contactors open at full load", remedy)
    return judge(title, "convenience", trip, "below", loaded, missing="no setting given",
                 remedy=remedy)


# --- balancing ------------------------------------------------------------------------

def _balance_checks(asked: ManagementAsked) -> tuple[Check, ...]:
    own = asked.brief.management
    title, worst = "balancing keeps up with the spread of self-discharge", _worst_spread(asked)
    missing = [f.title for f, known in (
        (own.balance_current, own.balance_current.known),
        (own.self_discharge_spread, worst is not None)) if not known]
    if worst is None or missing:
        read = f"; {asked.brief.losses.words}" if worst is None and asked.brief.losses else ""
        return (Check(title, "convenience", NOT_EVALUATED,
                      reason=f"say {'; '.join(missing)}{read}"),)
    held = judge(title, "convenience", trace(mean_balance, current=own.balance_current,
                                             share=BALANCE_SHARE), "at least", _asked_by(
        asked, worst), reason=_spread_words(asked, worst),
        remedy="more balance current, longer balancing, or leave out the modules that lose most")
    untold = asked.brief.losses.untold if asked.brief.losses else 0
    if held.verdict == PASS and untold and not own.self_discharge_spread.known:
        return (replace(held, verdict=NOT_EVALUATED),)
    return (held,)


def _worst_spread(asked: ManagementAsked) -> Finding | None:
    """The larger of what the brief says and what the bench sheet reads; None where neither does."""
    read = asked.brief.losses
    found = [asked.brief.management.self_discharge_spread, *([read.spread] if read else ())]
    return max((f for f in found if f.known), key=lambda f: f.number, default=None)


def _spread_words(asked: ManagementAsked, worst: Finding) -> str:
    """Which of the two counts, with the other beside it; "" where no sheet is named."""
    read, said = asked.brief.losses, asked.brief.management.self_discharge_spread
    if read is None:
        return ""
    if not read.spread.known:
        return f"{worst.shown} by the brief; {read.words}"
    by = f"{read.spread.shown} by the bench sheet ({read.words})"
    if not said.known:
        return by
    return f"{by}; the brief says {said.shown}" if worst is read.spread else \
        f"{said.shown} by the brief; {by}"


def _group(asked: ManagementAsked) -> Finding:
    """Capacity that one balancer works on: a stack is balanced by itself when grouped."""
    modules = [asked.brief.modules[p.entry].module for p in asked.pack.layout.parts]
    return largest([m.capacity for m in modules], "capacity of one module, largest type")


def _asked_by(asked: ManagementAsked, spread: Finding) -> Finding:
    return trace(spread_current, capacity=_group(asked), spread=spread)


# --- words ----------------------------------------------------------------------------

def _duty(asked: ManagementAsked) -> tuple[Finding, ...]:
    own = asked.brief.management
    channels = leaf("cell voltages to monitor", "n", "", asked.pack.channels, "definition",
                    origin=Origin("layout"), note="every cell of every stack and string")
    found = [channels, _sensors(asked), asked.fault_lowest, asked.pack.peak_current,
             _fault_cell(asked).worst]
    loaded = _loaded_cell(asked)
    found += [loaded] if loaded else []
    band = _trip_band(asked)
    found += list(band) if band else []
    if asked.takeover.known:
        found.append(asked.takeover)
    worst = _worst_spread(asked)
    if worst is not None:
        found.append(_asked_by(asked, worst))
    if own.balance_current.known:
        one = leaf("difference of charge between modules", "x", "%", 0.01, "definition",
                   origin=RULE, note="each further per cent takes as long again")
        found.append(trace(balance_time, "hours of balancing for each per cent of difference",
                           capacity=_group(asked), share=one, current=own.balance_current))
    return tuple(found)


def _specification(asked: ManagementAsked, limits: tuple[Limit, ...]) -> tuple[Requirement, ...]:
    own, volts = asked.brief.management, asked.pack.highest_voltage
    low, high = cell_span(asked)
    lines = [Requirement("cell side: rated voltage", f"above {volts.least}{volts.shown} DC"),
             Requirement("cell voltage channels", f"{asked.pack.channels}",
                         "one for each cell in series of each stack"), *_monitor_lines(asked),
             Requirement("cell voltage that a channel measures",
                         f"from at most {rounded(low, False, 4)} to at least "
                         f"{rounded(high, True, 4)}", "every trip lies within"),
             Requirement("sense wires", f"fuse at the cell end, insulation above "
                         f"{volts.least}{volts.shown} DC", _sense_fault(asked)),
             Requirement("temperature sensors", "at least "
                         f"{at_least_both(own.temperature_sensors, _sensors(asked)).shown}",
                         "30 % of the monitored cells, and as many as the brief counts"),
             _balance_line(asked)]
    for limit in limits:
        if limit.trip is not None:
            lines.append(Requirement(f"{limit.quantity}: trip", limit.trip.shown + (
                f", {_delayed(limit)}" if limit.delay else ""), limit.action))
        elif limit.unsettled:
            lines.append(Requirement(f"{limit.quantity}: trip", _unsettled(limit), limit.action))
    lines.append(Requirement(
        "current sensor: range, both directions", f"at least {rounded(range_counted(asked), True)}",
        "the trips with its error, and up to where the fuse takes over" + (
            "" if asked.takeover.known else ", which is not known yet")).resting_on(
                range_counted(asked)))
    lines.append(Requirement("current sensor: error",
                             f"at most {rounded(error_counted(asked), False, 4)}, whatever its "
                             "range", "with temperature and age"))
    return (*lines, *_string_sensor(asked))


def _string_sensor(asked: ManagementAsked) -> tuple[Requirement, ...]:
    """Of the sensor in each string, as its own trip counts on it."""
    span = asked.brief.strings.sensor_range
    if not (string_alone(asked) and span.known):
        return ()
    off = trace(sensor_deviation, error=asked.brief.management.current_sensor_error,
                full_range=span)
    return (Requirement("each string's current sensor", f"range at least {rounded(span, True)}, "
                        f"error at most {rounded(off, False, 4)}", "its own trip counts on both"),)


def _balance_line(asked: ManagementAsked) -> Requirement:
    """As much as the brief counts, and what levels the spread of self-discharge."""
    current, worst = asked.brief.management.balance_current, _worst_spread(asked)
    wanted = [f"at least {rounded(current, True, 4)} while balancing"] if current.known else []
    if worst is not None:
        wanted.append(f"at least {rounded(_asked_by(asked, worst), True, 4)} as a mean over all "
                      "hours")
    return Requirement("balance current", ", ".join(wanted) or "to be stated",
                       "keeps up with the spread of self-discharge")


def _unsettled(limit: Limit) -> str:
    """What stands where a figure would fail: both ends of the trip, and its delay."""
    return f"{limit.unsettled}; {_delayed(limit)}" if limit.delay else limit.unsettled


def _delayed(limit: Limit) -> str:
    assert limit.delay is not None
    return f"{'after' if limit.quantity == OVERLOAD_LIMIT else 'within'} {limit.delay.shown}"


def _sense_fault(asked: ManagementAsked) -> str:
    named = " and ".join(b.name for b in asked.brief.branch if b.kind == "sense")
    return f"what feeds a chafed wire stands with the branch {named}" if named else \
        f"a chafed sense wire is fed by up to {asked.fault_highest.shown}"


def _monitor_lines(asked: ManagementAsked) -> list[Requirement]:
    channels = asked.brief.management.channels_per_monitor
    rule = Requirement("monitors", "a new one begins at each module",
                       "none reaches over a link, fuse or disconnect")
    if not channels.known:
        return [rule]
    parallel = asked.pack.layout.parallel
    restarting = monitors_needed(asked.module_cells, int(channels.number), RESTARTS) * parallel
    count = max(restarting, int(monitors_asked(asked, channels).number))
    return [rule, Requirement(f"monitors of {channels.number:g} channels", f"{count}",
                              f"{len(asked.module_cells) * parallel} modules, none shared")]


def _open_items(asked: ManagementAsked) -> tuple[str, ...]:
    own = asked.brief.management
    found = [] if asked.takeover.known else [
        "current from which the main fuse opens within 1 s: the fuse's maker, at this DC voltage"]
    wanted = (own.trip_current, own.trip_delay, own.current_sensor_range, own.undervoltage_trip,
              own.overvoltage_trip, own.channels_per_monitor, own.temperature_sensors,
              own.balance_current)
    if _worst_spread(asked) is None:
        wanted += (own.self_discharge_spread,)
    bands = charge_bands(asked)
    found += [f"closing: none below {closing_bar(asked.brief)}, and show it",
              f"cold charging: set it to stop at or below {charge_floor(asked).shown}, and show it",
              f"charging current trip: {bands}",
              f"braking current trip: {bands}"]
    return (*found, *(f"{f.title}: say it in the brief" for f in wanted if not f.known))

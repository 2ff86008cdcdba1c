"""What the stages ask of a protection study: tolerances, edges, currents, as findings."""

from __future__ import annotations

from packcalc import transients as tr
from packcalc.bench.assign import AssignmentStudy
from packcalc.bench.stored import of_pack
from packcalc.brief import Brief
from packcalc.electrical import power_current, with_tolerance
from packcalc.findings import Finding, Origin, leaf, smallest, trace
from packcalc.handover import bands
from packcalc.handover.at_assembly import AtAssembly, at_assembly
from packcalc.handover.bands import rule
from packcalc.handover.inside import charge_poles, strings_of, taps_ahead, voltage_whole
from packcalc.pack import PackModel
from packcalc.modules import ModuleType
from packcalc.monitoring import cell_share
from packcalc.pack_charging import charge_limits
from packcalc.parts import RESISTOR
from packcalc.places.branches import charging
from packcalc.protect.insulation import as_open, module_voltage
from packcalc.protect.overvoltage import smallest_capacitance
from packcalc.protection import ProtectionStudy
from packcalc.protect.branch_figures import added_capacitance
from packcalc.feeds import BARE, OPEN_INPUT, bus_capacitance, on_the_bus, perhaps_on_the_bus
from packcalc.value import value_object, worked_once

SUPPLY = rule("voltage of the current-limited supply", "V", "V", 48.0,
              "our choice below the 60 V border; set it and write down what it is")
LEAST_SUPPLY = rule("lowest supply that still proves something", "V", "V", 20.0,
                    "our rule: four times the 5 V that the open pole may show")
BORDER = leaf("border of dangerous DC voltage", "v", "V", 60.0, "read", source="fmvss-305-2017")
ROOM = rule("room above the demand for a test resistor that is made", "a", "%", 0.05,
            "our rule: the next value of a 1 % series, or two in series")
BOND = leaf("bond of an exposed conductive part to the chassis", "R_b", "mΩ", 0.1, "read",
            source="un-r100-bonding", origin=Origin("paragraph 5.1.2.2"),
            note="at 0.2 A or more; a welded joint passes unmeasured")
RESISTOR_TITLE = "Pre-charge resistance"
LEVEL_TIME = "Time to the closing level"
FALL_TITLE = "time for the DC link to fall to 60 V"


def discharge_time(study: ProtectionStudy) -> Finding | None:
    """Time of the link to fall below 60 V, the very finding of the file for review.

    None where the discharge resistor is not known, or the link never stands above 60 V.
    """
    return next((f for f in study.circuit.insulation.item.duty if f.title == FALL_TITLE), None)


def _left_open(study: ProtectionStudy, *entries: str) -> tuple[str, ...]:
    """Entries of [inverter] that nobody stated, each with the figure that is counted for it."""
    told = ((entry, getattr(study.brief.inverter, entry)) for entry in entries)
    return tuple(f"{counted.title} is not known, counted with {counted.shown}"
                 for entry, counted in told if study.brief.left_open(f"inverter.{entry}"))


def _capacitance_open(study: ProtectionStudy) -> tuple[str, ...]:
    return _left_open(study, "dc_link_capacitance", "dc_link_tolerance")


def _resistor_open(study: ProtectionStudy) -> tuple[str, ...]:
    """Its tolerance; that the resistor itself is not known leaves no fall to tell of."""
    known = study.brief.inverter.discharge_resistance.known
    return _left_open(study, "discharge_tolerance") if known else ()


def open_on_bus(study: ProtectionStudy) -> tuple[str, ...]:
    """Capacitances of link and bus that are not known, with what is counted for them."""
    return (*(f"input capacitance of {b.name} is not known, counted with {OPEN_INPUT.shown}"
              for b in perhaps_on_the_bus(study.brief, study.pack.layout.in_strings)
              if not b.capacitance.known and b.kind not in BARE),
            *_capacitance_open(study))


def constant_open(study: ProtectionStudy, *, alone: bool = False) -> tuple[str, ...]:
    """What makes the time constant of the fall other than counted.

    Args:
        study: asked.
        alone: with every branch on the bus unplugged.
    """
    held = _capacitance_open(study) if alone else open_on_bus(study)
    return (*held, *_resistor_open(study))


def discharge_open(study: ProtectionStudy) -> tuple[str, ...]:
    """What may make the time of the fall other than counted; empty where it is the longest."""
    return (*constant_open(study), *(() if voltage_whole(study.pack) else
                                     ("parts of the over-voltage chain are not evaluated",)))


@value_object
class Figures:
    """Findings of one study that several stages share.

    Attributes:
        study: one layout sized.
        dealt: modules of the bench in its places; None without a bench.
        supply: voltage of the current-limited supply: our choice, or as it was read.
    """

    study: ProtectionStudy
    dealt: AssignmentStudy | None = None
    supply: Finding = SUPPLY

    @property
    def brief(self) -> Brief:
        return self.study.brief

    @property
    def pack(self) -> PackModel:
        return self.study.pack

    @worked_once
    def modules(self) -> tuple[ModuleType, ...]:
        """Type at each position from the negative end."""
        return tuple(self.brief.modules[p.entry].module for p in self.pack.layout.parts
                     for _ in range(p.series))

    @worked_once
    def charged(self) -> AtAssembly:
        """At what charge the modules are joined."""
        plan = self.dealt.balance if self.dealt is not None else None
        return at_assembly(list(dict.fromkeys(self.modules)), plan)

    @worked_once
    def isolation(self) -> Finding:
        """Demand on either pole with the inverter joined."""
        return self.study.circuit.insulation.joined

    @worked_once
    def isolation_of_load(self) -> Finding:
        """Demand on the load side by itself: the battery will leak beside it."""
        return self._isolation_of("load side by itself", self._leaking)

    @worked_once
    def isolation_of_battery(self) -> Finding:
        """Demand on one string by itself: the load side and the other strings leak beside it."""
        strings = strings_of(self.study)
        return self._isolation_of("battery by itself" if strings == 1 else "one string by itself",
                                  self._leaking * strings)

    @worked_once
    def isolation_ahead(self) -> Finding:
        """Demand on what leaves ahead of the contactors: it joins battery and load side."""
        return self._isolation_of("loads ahead of the contactors by themselves", self._leaking)

    @property
    def _leaking(self) -> int:
        """Parts that are measured apart and leak side by side once joined."""
        return 3 if taps_ahead(self.study) else 2

    def _isolation_of(self, words: str, parts: int) -> Finding:
        count = leaf("such parts that would reach the demand together", "n", "", parts,
                     "assumed", source="packcalc-rule", origin=bands.RULE,
                     note="our rule: equal shares of the allowed leakage to battery, load side and "
                          "what leaves ahead of the contactors; the strings share the battery's")
        return trace(bands.isolation_of_part, f"isolation demanded of the {words}",
                     isolation=self.isolation, count=count, note=as_open(self.isolation))

    @property
    def link_above_border(self) -> bool:
        """Whether the link, closed onto the battery, can stand above 60 V at all."""
        return self.pack.full_voltage.number > BORDER.number

    # -- pre-charge ---------------------------------------------------------------------------

    @worked_once
    def resistor(self) -> Finding | None:
        """Nominal pre-charge resistance: the named part's, else the study's reference."""
        names = self.brief.parts
        part = names.list.part(RESISTOR, names.resistor) if names.resistor else None
        if part is not None and part.resistance is not None:
            return part.resistance
        item = next(i for i in self.study.items if i.key == "precharge")
        return next((node for f in item.duty for node in f.walk()
                     if node.title == RESISTOR_TITLE), None)

    @worked_once
    def resistor_tolerance(self) -> Finding:
        names = self.brief.parts
        part = names.list.part(RESISTOR, names.resistor) if names.resistor else None
        own = part.tolerance if part is not None else None
        return own or self.brief.precharge.resistor_tolerance

    @property
    def can_precharge(self) -> bool:
        return self.resistor is not None and self.capacitance.known

    @worked_once
    def capacitance(self) -> Finding:
        """DC link and every branch on the bus, as the pre-charge counts them."""
        return bus_capacitance(self.brief, self.pack.layout.in_strings)

    def resistance_edge(self, upper: bool) -> Finding:
        """Pre-charge resistance at one end of its tolerance."""
        assert self.resistor is not None
        edge = tr.largest_resistance if upper else tr.smallest_resistance
        return trace(edge, f"pre-charge resistance, {'upper' if upper else 'lower'} tolerance",
                     resistance=self.resistor, tolerance=self.resistor_tolerance)

    @worked_once
    def capacitance_sure(self) -> Finding:
        """DC link and the branches on the bus that say what they hold: the lower end.

        What lies behind the charge contactor is off the bus until that closes.
        """
        whole = self.brief.inverter.dc_link_capacitance
        off = charging(self.brief) if charge_poles(self.study) else ()
        for branch in on_the_bus(self.brief, self.pack.layout.in_strings):
            if branch.capacitance.known and branch not in off:
                whole = trace(added_capacitance, "capacitance on the bus that is known",
                              first=whole, second=branch.capacitance)
        return whole

    def capacitance_edge(self, upper: bool) -> Finding:
        """Bus capacitance at one end of its tolerance, counted the same either way."""
        edge = tr.largest_capacitance if upper else smallest_capacitance
        return trace(edge, f"bus capacitance, {'upper' if upper else 'lower'} tolerance",
                     capacitance=self.capacitance if upper else self.capacitance_sure,
                     tolerance=self.brief.inverter.dc_link_tolerance)

    def link_alone(self, upper: bool) -> Finding:
        """The inverter's own capacitance at one end of its tolerance, every branch unplugged."""
        edge = tr.largest_capacitance if upper else smallest_capacitance
        return trace(edge, f"DC link by itself, {'upper' if upper else 'lower'} tolerance",
                     capacitance=self.brief.inverter.dc_link_capacitance,
                     tolerance=self.brief.inverter.dc_link_tolerance)

    @worked_once
    def nominal_constant(self) -> Finding:
        """The moment at which the share is read."""
        assert self.resistor is not None
        return trace(bands.time_constant, "nominal time constant of the pre-charge",
                     resistance=self.resistor, capacitance=self.capacitance)

    def constant_edge(self, upper: bool) -> Finding:
        """Time constant at one end of the tolerances, discharge resistor counted."""
        end = "longest" if upper else "shortest"
        resistance, bleed = self.resistance_edge(upper), self.bleed_edge(upper)
        if bleed is not None:
            resistance = trace(tr.parallel_resistance, resistance=resistance,
                               load_resistance=bleed)
        return trace(bands.time_constant, f"{end} time constant within the tolerances",
                     resistance=resistance, capacitance=self.capacitance_edge(upper))

    def share_edge(self, upper: bool) -> Finding:
        """Share of the supply reached after one nominal time constant.

        Upper tolerances make it low. A discharge resistor across the link makes it lower
        still and is counted there; a supply set a little off does not move a share.
        """
        slow = not upper
        source, resistance = self._slow_source() if slow else \
            (self.supply, self.resistance_edge(False))
        reached = trace(tr.charged_voltage, "bus voltage after one nominal time constant",
                        voltage=source, resistance=resistance,
                        capacitance=self.capacitance_edge(slow), time=self.nominal_constant)
        return trace(bands.share_of_supply, "share of the supply after one nominal time constant, "
                     f"{'highest' if upper else 'lowest'}", part=reached, whole=self.supply)

    def _slow_source(self) -> tuple[Finding, Finding]:
        """Voltage and resistance that the link sees through the largest resistor."""
        resistance, bleed = self.resistance_edge(True), self.bleed_edge(False)
        if bleed is None:
            return self.supply, resistance
        return (trace(tr.divided_voltage, "voltage that the discharge resistor leaves",
                      voltage=self.supply, resistance=resistance, load_resistance=bleed),
                trace(tr.parallel_resistance, resistance=resistance, load_resistance=bleed))

    def discharge_edge(self, upper: bool, *, alone: bool = False) -> Finding | None:
        """Time constant of the discharge at one end; None where the resistor is not known.

        Args:
            upper: which end.
            alone: with every branch on the bus unplugged.
        """
        bleed = self.bleed_edge(upper)
        if bleed is None or not self.capacitance.known:
            return None
        words = f"{'longest' if upper else 'shortest'} time constant of the discharge"
        return trace(bands.time_constant, words + (", inverter by itself" if alone else ""),
                     resistance=bleed,
                     capacitance=(self.link_alone if alone else self.capacitance_edge)(upper))

    def bleed_edge(self, upper: bool) -> Finding | None:
        """Discharge resistor at one end of its tolerance."""
        bleed = self.brief.inverter.discharge_resistance
        if not bleed.known:
            return None
        edge = tr.largest_resistance if upper else tr.smallest_resistance
        return trace(edge, f"discharge resistor, {'upper' if upper else 'lower'} tolerance",
                     unit="kΩ", resistance=bleed, tolerance=self.brief.inverter.discharge_tolerance)

    def fastest(self) -> Finding:
        """Shortest time to the closing level, nothing drawing."""
        return trace(tr.charging_time, "shortest time to the level, nothing drawing",
                     resistance=self.resistance_edge(False),
                     capacitance=self.capacitance_edge(False), level=self.brief.precharge.level)

    def slowest(self) -> Finding | None:
        """Longest time to the closing level, the very finding of the file for review.

        None where the discharge resistor or a load keeps the bus below the level.
        """
        return next((f for i in self.study.items if i.key == "precharge" for f in i.duty
                     if f.title.startswith(LEVEL_TIME)), None)

    def quickest_fall(self) -> Finding | None:
        """Shortest time of the link to fall to 60 V: from an empty pack, inverter alone."""
        bleed, start = self.bleed_edge(False), self.pack.empty_voltage
        if bleed is None or start.number <= BORDER.number:
            return None
        return trace(tr.discharge_time, "shortest time of the link to fall to 60 V",
                     resistance=bleed, capacitance=self.link_alone(False), voltage=start,
                     end=BORDER)

    def peak_edge(self, voltage: Finding, upper: bool) -> Finding:
        """First current into the empty link at one end of the resistor's tolerance."""
        return trace(tr.current_at, f"{'largest' if upper else 'smallest'} first current",
                     voltage=voltage, resistance=self.resistance_edge(not upper))

    # -- pack ---------------------------------------------------------------------------------

    @worked_once
    def stored(self) -> Finding:
        """Energy stored when full, at most: the one figure of every page."""
        return of_pack(self.brief, self.pack)

    @worked_once
    def module_voltage(self) -> Finding:
        """One full module with the charger's tolerance."""
        return module_voltage(self.brief, self.pack)

    def charge_end(self, upper: bool) -> Finding:
        """Voltage at the end of charging at one end of the charger's tolerance."""
        edge = with_tolerance if upper else bands.lower_voltage
        return trace(edge, f"end of charging, {'upper' if upper else 'lower'} tolerance",
                     voltage=self.pack.rest_full_voltage, tolerance=self.brief.charger.tolerance)

    @worked_once
    def bus_driven(self) -> Finding:
        """Most that the bus may show with the contactors closed: the battery, or the inverter."""
        battery, stop = self.study.circuit.overvoltage.battery_side, \
            self.brief.regeneration.voltage_limit
        return smallest([f for f in (battery, stop) if f.known],
                        "highest bus voltage with the contactors closed")

    # -- first charge -------------------------------------------------------------------------

    @worked_once
    def charge_limits(self) -> tuple[tuple[Finding, Finding], ...]:
        """(edge of a band, charging current that the layout bears from there), in use."""
        return charge_limits(self.brief, self.pack.layout)

    @worked_once
    def own_charging(self) -> Finding:
        """Current of the vehicle's own charger where it is largest, at the lowest charge."""
        return trace(power_current, "charging current of the vehicle's own charger", symbol="I_ch",
                     power=self.brief.charger.power, voltage=self.pack.rest_low_voltage,
                     note="largest where charging begins, at lowest charge")

    @worked_once
    def first_charge(self) -> tuple[Finding, Finding, Finding]:
        """Coldest and hottest cell of the first charge, and the most current between them.

        The coldest band that bears the whole charger; where none does, the one that bears most.
        It ends where the cells bear less than that current, or at the hottest in use.
        """
        asked = self.own_charging
        bands = [(edge, limit) for edge, limit in self.charge_limits if limit.number > 0]
        whole = [b for b in bands if b[1].number >= asked.number]
        edge, limit = whole[0] if whole else max(bands, key=lambda b: b[1].number)
        most = smallest([asked, limit], "most current of the first charge")
        ends = [e.called("hottest cell at which the first charge may go on") for e, less in
                self.charge_limits if e.number > edge.number and less.number < most.number]
        return (edge.called("coldest cell at which the first charge may begin"),
                ends[0] if ends else self.brief.battery.hottest, most)

    @worked_once
    def cell_full(self) -> Finding:
        """Highest voltage that one cell may show at the end of charging."""
        trip = self.brief.management.overvoltage_trip
        found = [self.brief.modules[p.entry].module.full_voltage for p in self.pack.layout.parts]
        tops = [trace(with_tolerance, "full cell with the charger's tolerance", voltage=f,
                      tolerance=self.brief.charger.tolerance) for f in found]
        return smallest([*tops, trip], "highest voltage of a cell")

    @worked_once
    def cell_charged(self) -> Finding:
        """Least that the highest cell shows when charging ends, by itself or by the trip.

        It is no lower than the mean of all cells, nor that lower than the type that fills lowest.
        """
        parts = self.pack.layout.parts
        full = [self.brief.modules[p.entry].module.full_voltage for p in parts]
        count = sum(p.series * self.brief.modules[p.entry].module.series for p in parts)
        mean = trace(cell_share, "mean voltage of one cell when charging ends",
                     voltage=self.pack.rest_full_voltage, cells=leaf(
                         "cells in series", "n", "", count, "definition", origin=Origin("layout")))
        ends = smallest([*full, mean, self.brief.management.overvoltage_trip],
                        "cell voltage at which charging ends")
        return trace(bands.lower_voltage, "least that the highest cell shows when charging ends",
                     voltage=ends, tolerance=self.brief.charger.tolerance)

    @worked_once
    def terminal_limit(self) -> Finding:
        """Lowest terminal limit of the cable routes."""
        return smallest([r.terminal_limit for r in self.brief.cables.route],
                        "lowest temperature limit of the terminals")

    def test_resistor(self, demand: Finding) -> tuple[Finding, Finding]:
        """Ends of a test resistor that proves a demand on the monitor, and hardly more."""
        return demand, trace(bands.with_room, "largest test resistor", demand=demand, room=ROOM,
                             note=as_open(demand))

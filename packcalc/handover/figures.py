"""What the stages ask of a protection study: tolerances, edges, currents, as findings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from packcalc import transients as tr
from packcalc.brief import Brief
from packcalc.electrical import total_resistance, with_tolerance
from packcalc.findings import Finding, Origin, largest, leaf, smallest, trace
from packcalc.handover import bands
from packcalc.handover.bands import rule
from packcalc.pack import PackModel
from packcalc.parts import RESISTOR
from packcalc.protect.insulation import module_voltage
from packcalc.protect.overvoltage import smallest_capacitance
from packcalc.protection import ProtectionStudy

SUPPLY = rule("voltage of the current-limited supply", "V", "V", 48.0,
              "our choice below the 60 V border; set it and write down what it is")
BORDER = leaf("border of dangerous DC voltage", "v", "V", 60.0, "read", source="fmvss-305-2017")
BOND = leaf("bond of an exposed conductive part to the chassis", "R_b", "mΩ", 0.1, "read",
            source="un-r100-bonding", origin=Origin("paragraph 5.1.2.2"),
            note="at 0.2 A or more; a welded joint passes unmeasured")
RESISTOR_TITLE = "Pre-charge resistance"


@dataclass(frozen=True)
class Figures:
    """Findings of one study that several stages share."""

    study: ProtectionStudy

    @property
    def brief(self) -> Brief:
        return self.study.brief

    @property
    def pack(self) -> PackModel:
        return self.study.pack

    @cached_property
    def isolation(self) -> Finding:
        """Demand on either pole with the inverter joined."""
        return self.study.circuit.insulation.joined

    # -- pre-charge ---------------------------------------------------------------------------

    @cached_property
    def resistor(self) -> Finding | None:
        """Nominal pre-charge resistance: the named part's, else the study's reference."""
        names = self.brief.parts
        part = names.list.part(RESISTOR, names.resistor) if names.resistor else None
        if part is not None and part.resistance is not None:
            return part.resistance
        item = next(i for i in self.study.items if i.key == "precharge")
        return next((node for f in item.duty for node in f.walk()
                     if node.title == RESISTOR_TITLE), None)

    @cached_property
    def resistor_tolerance(self) -> Finding:
        names = self.brief.parts
        part = names.list.part(RESISTOR, names.resistor) if names.resistor else None
        own = part.tolerance if part is not None else None
        return own or self.brief.precharge.resistor_tolerance

    @property
    def can_precharge(self) -> bool:
        return self.resistor is not None and self.capacitance.known

    @property
    def capacitance(self) -> Finding:
        return self.brief.inverter.dc_link_capacitance

    def resistance_edge(self, upper: bool) -> Finding:
        """Pre-charge resistance at one end of its tolerance."""
        assert self.resistor is not None
        edge = tr.largest_resistance if upper else tr.smallest_resistance
        return trace(edge, f"pre-charge resistance, {'upper' if upper else 'lower'} tolerance",
                     resistance=self.resistor, tolerance=self.resistor_tolerance)

    def capacitance_edge(self, upper: bool) -> Finding:
        """Link capacitance at one end of its tolerance, counted the same either way."""
        edge = tr.largest_capacitance if upper else smallest_capacitance
        return trace(edge, f"link capacitance, {'upper' if upper else 'lower'} tolerance",
                     capacitance=self.capacitance,
                     tolerance=self.brief.inverter.dc_link_tolerance)

    @cached_property
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
        supply, resistance = self._slow_source() if slow else (SUPPLY, self.resistance_edge(False))
        reached = trace(tr.charged_voltage, "bus voltage after one nominal time constant",
                        voltage=supply, resistance=resistance,
                        capacitance=self.capacitance_edge(slow), time=self.nominal_constant)
        return trace(bands.share_of_supply, "share of the supply after one nominal time constant, "
                     f"{'highest' if upper else 'lowest'}", part=reached, whole=SUPPLY)

    def _slow_source(self) -> tuple[Finding, Finding]:
        """Voltage and resistance that the link sees through the largest resistor."""
        resistance, bleed = self.resistance_edge(True), self.bleed_edge(False)
        if bleed is None:
            return SUPPLY, resistance
        return (trace(tr.divided_voltage, "voltage that the discharge resistor leaves",
                      voltage=SUPPLY, resistance=resistance, load_resistance=bleed),
                trace(tr.parallel_resistance, resistance=resistance, load_resistance=bleed))

    def discharge_edge(self, upper: bool) -> Finding | None:
        """Time constant of the discharge at one end; None where the resistor is not known."""
        bleed = self.brief.inverter.discharge_resistance
        if not bleed.known or not self.capacitance.known:
            return None
        return trace(bands.time_constant, f"{'longest' if upper else 'shortest'} time constant of "
                     "the discharge", resistance=self.bleed_edge(upper),
                     capacitance=self.capacitance_edge(upper))

    def bleed_edge(self, upper: bool) -> Finding | None:
        """Discharge resistor at one end of its tolerance."""
        bleed = self.brief.inverter.discharge_resistance
        if not bleed.known:
            return None
        edge = tr.largest_resistance if upper else tr.smallest_resistance
        return trace(edge, f"discharge resistor, {'upper' if upper else 'lower'} tolerance",
                     unit="kΩ", resistance=bleed, tolerance=self.brief.inverter.discharge_tolerance)

    def fall_time(self) -> Finding | None:
        """Longest time of the link to fall below 60 V; None where its resistor is not known."""
        bleed, voltage = self.bleed_edge(True), self.pack.highest_voltage
        if bleed is None or not self.capacitance.known or voltage.number <= BORDER.number:
            return None
        return trace(tr.discharge_time, "longest time of the link to fall to 60 V",
                     resistance=bleed, capacitance=self.capacitance_edge(True), voltage=voltage,
                     end=BORDER)

    def fastest(self) -> Finding:
        """Shortest time to the closing level, nothing drawing."""
        return trace(tr.charging_time, "shortest time to the level, nothing drawing",
                     resistance=self.resistance_edge(False),
                     capacitance=self.capacitance_edge(False), level=self.brief.precharge.level)

    def slowest(self) -> Finding | None:
        """Longest time to the closing level, discharge resistor and known loads counted.

        None where the discharge resistor keeps the bus below the level.
        """
        level = self.brief.precharge.level
        supply, resistance = self._slow_source()
        settled = trace(bands.share_of_supply, "share of the source at which the bus settles",
                        part=supply, whole=SUPPLY)
        if settled.number <= level.number:
            return None
        own = level if supply is SUPPLY else trace(bands.level_of_settled, level=level,
                                                   settled=settled)
        free = trace(tr.charging_time, "longest time to the level, discharge resistor counted",
                     resistance=resistance, capacitance=self.capacitance_edge(True), level=own)
        reference = self.resistor is not None and self.resistor.title == RESISTOR_TITLE
        loaded = [f for i in self.study.items if reference and i.key == "precharge"
                  for f in i.duty if f.title.startswith("Time to the closing level")]
        return largest([free, *loaded], "longest time to the level")

    def peak_edge(self, voltage: Finding, upper: bool) -> Finding:
        """First current into the empty link at one end of the resistor's tolerance."""
        return trace(tr.current_at, f"{'largest' if upper else 'smallest'} first current",
                     voltage=voltage, resistance=self.resistance_edge(not upper))

    # -- pack ---------------------------------------------------------------------------------

    @cached_property
    def module_voltage(self) -> Finding:
        """One full module with the charger's tolerance."""
        return module_voltage(self.brief, self.pack)

    @cached_property
    def pack_resistance(self) -> tuple[Finding, Finding]:
        """From new, hot cells in the first milliseconds to aged, cold cells after the peak."""
        low = trace(total_resistance, "least resistance of the pack, new and hot",
                    modules=self.pack.resistance_initial, path=self.pack.path,
                    cables=self.pack.cable_allowance)
        return low, self.pack.resistance_sag

    def charge_end(self, upper: bool) -> Finding:
        """Voltage at the end of charging at one end of the charger's tolerance."""
        edge = with_tolerance if upper else bands.lower_voltage
        return trace(edge, f"end of charging, {'upper' if upper else 'lower'} tolerance",
                     voltage=self.pack.rest_full_voltage, tolerance=self.brief.charger.tolerance)

    @cached_property
    def cell_full(self) -> Finding:
        """Highest voltage that one cell may show at the end of charging."""
        trip = self.brief.management.overvoltage_trip
        found = [self.brief.modules[p.entry].module.full_voltage for p in self.pack.layout.parts]
        tops = [trace(with_tolerance, "full cell with the charger's tolerance", voltage=f,
                      tolerance=self.brief.charger.tolerance) for f in found]
        return smallest([*tops, trip], "highest voltage of a cell")

    @cached_property
    def terminal_limit(self) -> Finding:
        """Lowest terminal limit of the cable routes."""
        return smallest([r.terminal_limit for r in self.brief.cables.route],
                        "lowest temperature limit of the terminals")

    @cached_property
    def test_resistor(self) -> Finding:
        """Half of the reading at which the isolation monitor acts."""
        managed = self.brief.management
        acts = next((f for f in (managed.isolation_trip, managed.isolation_warn) if f.known),
                    self.isolation)
        return trace(bands.half,
                     "test resistor: half the response value of the monitor", response=acts)



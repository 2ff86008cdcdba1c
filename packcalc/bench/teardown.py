"""Taking a donor pack apart: voltage and energy of every section after each step.

The same steps run backwards are an assembly: `assembly` closes the joints in the reverse
order and says what each closing brings together.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from itertools import accumulate

from packcalc import modules as mod
from packcalc.bench.balance import charge_from_voltage
from packcalc.bench.damage import APART, APART_READ
from packcalc.bench.sections import Chain, Run, closing_order, opening_order
from packcalc.bench.stored import of_module
from packcalc.brief import Donor
from packcalc.cell_formulas import module_voltage
from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS, Check, judge
from packcalc.errors import UserError
from packcalc.findings import Finding, Origin, formula, largest, leaf, trace
from packcalc.modules import ModuleType
from packcalc.units import several
from packcalc.value import replace, value_object

SHOCK_LIMIT = 60.0
SERVICE_VOLTAGE, SERVICE_ENERGY = 120.0, 6.0e6
ISOLATION_NEED = 500.0
GLOVES = ((750.0, "class 00"), (1500.0, "class 0"))  # DC use, ASTM D120 and IEC 60903
STAGE = "isolation and distance"
CASE = "note it; a reading that stays is a leak"
LIVE_POINT = ("two-voltmeter test, each pole to the case, by a person trained for work on live "
              "parts, at two terminals that show the pack's voltage: where the maker names a "
              "point for it, or with the contactors held closed as the maker says")
METER_BAND = 0.02      # sections of one donor differ by no more (assumed)
EXACT = 1e-9
LEAST_BAND = 0.01      # no band is narrower: a meter and a night's rest move that much (assumed)
_RULE = Origin("teardown")
AT_LEAST_LEFT = leaf("charge left where an instrument shows 0 %", "z", "%", 0.10, "assumed",
                     source="packcalc-rule", origin=_RULE, note="makers keep some below the 0 % "
                     "shown, and a cell at its least voltage still drives a short circuit")


@formula(
    title="voltage of a section", symbol="U_s", unit="V", text="U_s = n·E_m",
    inputs={"steps": "n [] modules in series in the section",
            "module_voltage": "E_m [V] of one module"},
    basis="definition",
)
def section_voltage(steps: float, module_voltage: float) -> float:
    """Modules in series.

    Examples:
        >>> round(section_voltage(9, 25.2), 1)
        226.8
    """
    return steps * module_voltage


@formula(
    title="energy of a section", symbol="W_s", unit="MJ", text="W_s = n·P·W_m·3.6·z/100",
    inputs={"steps": "n [] modules in series in the section",
            "parallel": "P [] modules in parallel at each step",
            "module_energy": "W_m [kWh] of a full module", "charge": "z [%] state of charge"},
    basis="assumed", source="packcalc-rule",
    where="energy is counted in proportion to the charge; a cell's voltage falls with it, so less"
          " is there",
    safe_side="high: all of the label on the highest curve, at the most charge that may be there",
)
def section_energy(steps: float, parallel: float, module_energy: float, charge: float) -> float:
    """Energy that a section holds.

    Examples:
        >>> round(section_energy(9, 1, 5.184 * 3.6e6, 0.5) / 1e6, 2)
        83.98
    """
    return steps * parallel * module_energy * charge


@value_object
class Stack:
    """A chain of like modules: what teardown and assembly share.

    Attributes:
        module: its type.
        steps: modules in series.
        parallel: modules at each step.
        charge: state of charge that is counted on, for energy.
        voltage: of the whole chain as read, where the voltmeter's bands follow it; where it is
            more than every cell full would make, sections are counted by it.
        told: the charge as given, which the bands follow where no voltage was read; if nobody
            gave one either, any voltage from empty to full may show.
    """

    module: ModuleType
    steps: int
    parallel: Finding
    charge: Finding
    voltage: Finding | None = None
    told: Finding | None = None

    @property
    def full_voltage(self) -> Finding:
        """Voltage of one full module."""
        return trace(module_voltage, "voltage of a full module", symbol="E_f,m",
                     cells_in_series=self.module.cells_in_series,
                     cell_voltage=self.module.full_voltage)

    @property
    def most_voltage(self) -> Finding:
        """Voltage that one module is counted with: full, or its share of what was read."""
        full, read = self.full_voltage, self.voltage
        if read is None or read.number <= self.steps * full.number * (1 + EXACT):
            return full
        return Finding("voltage of a module, its share of the pack's as read", "E_m", "V",
                       read.number / self.steps, "definition", inputs=(read,),
                       note=f"a {self.steps}th; more than {full.shown}, every cell full: the "
                            "larger counts")

    def highest(self, run: Run) -> Finding:
        """The voltage that a section can have at most: every cell full, or as read."""
        return trace(section_voltage, f"highest voltage of section {run}",
                     steps=self._count(run), module_voltage=self.most_voltage)

    def expected(self, run: Run) -> tuple[float, float] | None:
        """Band of the voltmeter: by the voltage read, else by the charge.

        From empty to full where neither is known, or no curve says what the charge means; a
        stack of other bands may have None.
        """
        most = run.steps * self.most_voltage.number
        if self.voltage is not None:
            share = self.voltage.number * run.steps / self.steps
            return share * (1 - METER_BAND), min(share * (1 + METER_BAND), max(most, share))
        if self.told is None or self.module.needs_bench:
            return run.steps * self.module.series * self.module.empty_voltage.number, most
        z = self.told.number
        low, high = (run.steps * float(ocv(self.module, z)) for ocv in (mod.ocv_low, mod.ocv_high))
        left = run.steps * float(mod.ocv_high(self.module, AT_LEAST_LEFT.number))
        return min(low, high * (1 - LEAST_BAND)), max(high, left)

    def energy(self, run: Run) -> Finding:
        """Energy of a section at the charge counted on."""
        return trace(section_energy, f"energy of section {run}", steps=self._count(run),
                     parallel=self.parallel, module_energy=of_module(self.module),
                     charge=self.charge)

    def harmless_steps(self) -> int:
        """Most modules in series that stay at or below 60 V when full; 0 where one is above."""
        return int((SHOCK_LIMIT + EXACT) // self.most_voltage.number)

    def _count(self, run: Run) -> Finding:
        return leaf(f"modules in series in section {run}", "n", "", run.steps, "given",
                    origin=_RULE)


@value_object
class SectionState:
    """One section at one moment.

    Attributes:
        run: which modules, from the minus end.
        highest: voltage it can have at most.
        expected: band of the voltmeter, or None.
        energy: that it holds.
        words: "at or below 60 V", "above 60 V: lethal", …
    """

    run: Run
    highest: Finding
    expected: tuple[float, float] | None
    energy: Finding
    words: str


@value_object
class Step:
    """One step: what is done, where to measure, what stays live.

    Attributes:
        number: from 0, the pack as found.
        action: what is done.
        joint: opened or closed; 0 where none is.
        measure: where to measure before going on.
        live: what is live while hands are in it, and what stays live.
        sections: after the step, the longest first.
        during: the section that the joint lies in while it is opened; None where none is.
    """

    number: int
    action: str
    joint: int
    measure: str
    live: str
    sections: tuple[SectionState, ...]
    during: SectionState | None = None

    @property
    def worst(self) -> SectionState:
        return self.sections[0]


@value_object
class Teardown:
    """A whole teardown sheet.

    Attributes:
        donor: as described.
        stack: its chain.
        checks: before the first tool, and what the donor's past asks for.
        steps: in order.
        preparation, afterwards: rules in words.
        assumptions: figures of the donor that nobody gave.
        refusal: why no step is given; empty where they are.
    """

    donor: Donor
    stack: Stack
    checks: tuple[Check, ...]
    steps: tuple[Step, ...]
    preparation: tuple[str, ...]
    afterwards: tuple[str, ...]
    assumptions: tuple[Finding, ...]
    refusal: str = ""


# --- states ----------------------------------------------------------------------------------

_Known = dict[Run, SectionState]


def states(stack: Stack, chain: Chain, known: _Known | None = None) -> tuple[SectionState, ...]:
    """Every section of a chain, the longest first; of equals the one nearest the minus end.

    Args:
        stack: of like modules.
        chain: with its open joints.
        known: sections of earlier steps, kept so that each is worked out once.
    """
    known = {} if known is None else known
    runs = sorted(chain.runs(), key=lambda run: (-run.steps, run.first))
    for run in runs:
        if run not in known:
            known[run] = _state(stack, run)
    return tuple(known[run] for run in runs)


def _state(stack: Stack, run: Run) -> SectionState:
    highest, energy = stack.highest(run), stack.energy(run)
    if highest.number <= SHOCK_LIMIT + 1e-9:
        words = "at or below 60 V: burns and arcs all the same"
    elif run.steps == 1:
        words = "above 60 V in one module: not reachable; stays lethal"
    elif highest.number < SERVICE_VOLTAGE and energy.number < SERVICE_ENERGY * stack.charge.number:
        # that rule counts a section full, whatever it holds today
        words = "above 60 V: lethal (below the 120 V and 6 MJ of a competition's section rule)"
    else:
        words = "above 60 V: lethal"
    return SectionState(run, highest, stack.expected(run), energy, words)


def band(state: SectionState) -> str:
    """What the voltmeter should show, in words."""
    if state.expected is None:
        return "not known: no curve of this chemistry may be assumed"
    low, high = state.expected
    return f"{low:.1f} to {high:.1f} V"


def _between(joint: int) -> str:
    return f"between module {joint} and {joint + 1}"


def _after(number: int, action: str, joint: int, found: tuple[SectionState, ...],
           during: SectionState | None = None) -> Step:
    if joint:
        left = next(s for s in found if s.run.last == joint)
        right = next(s for s in found if s.run.first == joint + 1)
        measure = ("across the open joint: near 0 V, else a second path is there: stop; across "
                   f"section {left.run}: {band(left)}; "
                   f"across section {right.run}: {band(right)}; each end to the case: "
                   f"{CASE}")
    else:
        measure = f"both ends: {band(found[0])}; each end to the case: {CASE}"
    above = [s for s in found if s.highest.number > SHOCK_LIMIT + 1e-9]
    live = (f"both ends of every section, and every terminal between them; {len(above)} of "
            f"{several(len(found), 'section')} above 60 V, up to {found[0].highest.shown}"
            if above else "both ends of every section; none above 60 V, each can still weld a tool")
    if during is not None:
        live = (f"WHILE IT IS OPENED: section {during.run}, up to {during.highest.shown}, "
                f"{during.words}. After: {live}")
    return Step(number, action, joint, measure, live, found, during)


# --- teardown --------------------------------------------------------------------------------

def teardown(donor: Donor) -> Teardown:
    """The teardown sheet of a described donor."""
    described = _described(donor)
    stack, refusal = _stack(donor, described), _refusal(donor, described)
    return Teardown(donor, stack, _checks(donor, described, stack),
                    (_as_found(stack),) if refusal else _steps(donor, stack),
                    _preparation(donor, stack), _afterwards(donor, described),
                    tuple(f for f in (donor.charge, donor.modules_in_parallel,
                                      donor.service_plug_after, donor.isolation,
                                      donor.total_voltage) if f.basis != "given"), refusal)


def _described(donor: Donor) -> Stack:
    """The chain as the brief describes it, whatever a voltmeter says."""
    return Stack(donor.module, sum(donor.sections), donor.modules_in_parallel, donor.charge,
                 told=donor.charge if donor.charge.basis == "given" else None)


def _over(donor: Donor, described: Stack) -> float:
    """The donor's voltage as read over the most that its chain as described can have."""
    _, most = _window(described)
    return donor.total_voltage.number / most if donor.total_voltage.known else 0.0


def _under(donor: Donor, described: Stack) -> bool:
    """Whether the donor's voltage as read is less than its chain has with every cell empty."""
    read = donor.total_voltage
    return read.known and read.number * (1 + LEAST_BAND) < _window(described)[0]


def _refusal(donor: Donor, described: Stack) -> str:
    """Why no joint may be named: nobody knows where it would lie, or a first fault is there."""
    need = _isolation_need(described)
    if donor.isolation.known and donor.isolation.number < need.number * (1 - EXACT):
        return (f"No step is given: the donor's isolation was read as {donor.isolation.shown}, and "
                f"at least {need.shown} is asked. A first fault to the case is there already, and "
                "a tool or a hand would make the second. Keep away from case and terminals, let a "
                "person trained for work on live parts find and end that fault, read the isolation "
                "again, and print the sheet anew; open nothing before.")
    if _under(donor, described):
        least, _ = _window(described)
        return (f"No step is given: {donor.total_voltage.shown} was read, and "
                f"{several(described.steps, 'module')} as described would show {least:.1f} V at "
                "least. Contactors that are open (vehicle or 12 V off), a service plug that is out "
                "already, a fuse that opened inside, cells drained below their least voltage or "
                "a wrong count read so: what stays live, and where, is not known. Terminals that "
                "read 0 V say nothing of the pack behind them. Count every section as full and "
                "live, read it behind contactors and plug, each end against the other and the "
                "case, mend [donor], and print the sheet anew; open nothing before.")
    if _over(donor, described) <= 1 + LEAST_BAND:
        return ""
    return (f"No step is given: {donor.total_voltage.shown} was read, and "
            f"{several(described.steps, 'module')} as described would show "
            f"{_window(described)[1]:.1f} V at most. Where each joint "
            "lies, and what a section holds, is not known. Read the voltage again, count modules "
            "and cells, mend [donor], and print the sheet anew; open nothing before.")


def _stack(donor: Donor, stack: Stack) -> Stack:
    """The chain, with the most charge that may be there.

    The voltmeter's bands follow the donor's own voltage wherever it says anything; energy is
    counted at the charge as given or at the most that the voltage allows, whichever is more
    (`AT_LEAST_LEFT` at least), and as full where no voltage bears the charge out. A voltage
    above every cell full counts in place of that; where it is more than a meter's error above,
    so do as many modules as it needs, all of them full.
    """
    over, read = _over(donor, stack), donor.total_voltage
    if over > 1 + EXACT:
        steps = stack.steps if over <= 1 + LEAST_BAND else math.ceil(over * stack.steps - EXACT)
        return replace(stack, steps=steps, voltage=read,
                       charge=_all(f"{read.shown} was read: more than every cell full"))
    if _under(donor, stack):  # part of it may be cut off from the meter, as full as any
        return replace(stack, voltage=read,
                       charge=_all(f"{read.shown} was read: a part may be cut off, and full"))
    if stack.told is not None:
        stack = replace(stack, charge=_most_charge(donor, stack))
    return replace(stack, voltage=read) if read.known else stack


def _all(why: str) -> Finding:
    return leaf("state of charge, all of it", "z", "%", 1.0, "definition", origin=_RULE, note=why)


def _most_charge(donor: Donor, stack: Stack) -> Finding:
    """The most that may be there of a charge as given; all of it where no voltage bears it out."""
    band = _charge_by_voltage(donor, stack)
    if band is None:
        return _all(f"an instrument alone said {donor.charge.shown}; no voltage bears it out")
    _, high = band
    return largest([donor.charge, AT_LEAST_LEFT, leaf(
        "state of charge that the donor's voltage allows at most", "z", "%", high, "assumed",
        source="packcalc-rule", origin=donor.total_voltage.origin)],
        "state of charge counted on", f"{donor.charge.shown} as given; the highest counts")


def _charge_by_voltage(donor: Donor, stack: Stack) -> tuple[float, float] | None:
    """Charge that the donor's voltage may mean, any where no curve says; None where it is wrong."""
    if not donor.total_voltage.known or not _fits(donor.total_voltage.number, stack):
        return None
    if donor.module.needs_bench:
        return 0.0, 1.0
    a, b = (charge_from_voltage(donor.module, donor.total_voltage.number / stack.steps * (1 + e))
            for e in (-LEAST_BAND, LEAST_BAND))
    return a[0], b[1]


def first_joints(donor: Donor) -> tuple[tuple[int, str], ...]:
    """Service plug, then the joints between sections, the middle ones first."""
    ends = list(accumulate(donor.sections))[:-1]
    plug = donor.service_plug_after.value
    named = []
    if plug is not None:
        named.append((ends[int(plug) - 1], "pull the service plug"))
    rest = [end for end in ends if end not in [joint for joint, _ in named]]
    half = sum(donor.sections) / 2
    named += [(joint, "take out the link between two sections")
              for joint in sorted(rest, key=lambda joint: (abs(joint - half), joint))]
    return tuple(named)


def _as_found(stack: Stack) -> Step:
    return _after(0, "as found: nothing opened, contactors counted as closed", 0,
                  states(stack, Chain(stack.steps)))


def _steps(donor: Donor, stack: Stack) -> tuple[Step, ...]:
    names = dict(first_joints(donor))
    chain, known = Chain(stack.steps), _Known()
    found = [_as_found(stack)]
    order = opening_order(stack.steps, tuple(names), stack.harmless_steps())
    for number, joint in enumerate(order, start=1):
        during = next(s for s in states(stack, chain, known)
                      if s.run.first <= joint < s.run.last)
        chain = chain.open(joint)
        action = names.get(joint, "take out the link")
        if number == 1:
            wait = "lock it away, wait as the maker says; then " if \
                donor.service_plug_after.known else ""
            action += f", {wait}unplug the sense leads"
        found.append(_after(number, f"{action}, {_between(joint)}; cap both ends at once", joint,
                            states(stack, chain, known), during))
    return (*found, *_parting(stack, chain, len(found)))


def _parting(stack: Stack, chain: Chain, number: int) -> tuple[Step, ...]:
    """The last step where modules stand in parallel: one place of the chain after another."""
    count = stack.parallel.number
    if count < 2:
        return ()
    one = leaf("modules in parallel after parting", "P", "", 1, "definition", origin=_RULE)
    found = states(replace(stack, parallel=one), chain)
    before = states(stack, chain)[0]
    return (Step(
        number, f"part the {count:.0f} modules paralleled at each place, one place of the chain "
        "after another: one link at a time, its plus side before its minus side; cap both ends at "
        "once", 0,
        f"before: each link, 0 A by a clamp meter, else one module feeds another: stop; after: "
        f"each module: {band(found[0])}, its terminals to those of the others of its place: note "
        f"the difference; each end to the case: {CASE}",
        f"WHILE IT IS OPENED: {count:.0f} modules side by side at up to {before.highest.shown}, "
        f"{before.words}; all of them feed a slipped tool. After: both terminals of every module, "
        f"{found[0].words}", found, before),)


def _isolation_need(stack: Stack) -> Finding:
    whole = stack.highest(Run(1, stack.steps))
    return leaf("isolation before the first tool touches the pack", "R_need", "kΩ",
                ISOLATION_NEED * whole.number, "read", source="un-r100",
                origin=Origin("500 Ω/V times the highest voltage"))


def _checks(donor: Donor, described: Stack, stack: Stack) -> tuple[Check, ...]:
    return (_isolation(donor, described, stack), _cells_agree(donor, described),
            _charge_agrees(donor, described), *_past(donor))


def _isolation(donor: Donor, described: Stack, stack: Stack) -> Check:
    """Isolation as read; of terminals that may be dead it passes nothing.

    Open contactors and a pulled plug part the service terminals from the pack: the test then
    reads the leads alone. That they are live only the pack's own voltage between them shows.
    """
    held = judge("isolation of the donor to its case", STAGE, donor.isolation, "at least",
                 _isolation_need(stack),
                 missing="not measured: no tool touches the pack before it is")
    change = {PASS: "", FAIL: "stop: a first fault is there already, and the next touch may be the "
              "second"}.get(held.verdict, LIVE_POINT)
    read = donor.total_voltage
    if held.verdict != PASS:
        return replace(held, remedy=change)
    if read.known and _fits(read.number, described):
        return replace(held, reason=f"it counts where {read.shown} stood between the same two "
                       "terminals, read by a voltmeter")
    seen = f"{read.shown} between them does not go with the modules" if read.known else \
        "no voltage between them is given"
    return replace(held, verdict=NOT_EVALUATED, remedy=f"{LIVE_POINT}; give donor.total_voltage as "
                   "read there", reason=f"{seen}: with contactors open or the service plug out the "
                   "terminals are dead, and the test says nothing of the pack")


def _cells_agree(donor: Donor, stack: Stack) -> Check:
    """The donor's own voltage against the chain as described."""
    title = "voltage of the donor against the number of modules"
    if not donor.total_voltage.known:
        return Check(title, "highest voltage", NOT_EVALUATED, reason="total voltage not given",
                     remedy="read it at the service terminals; a wrong count shows here")
    least, most = _window(stack)
    value = donor.total_voltage
    fits = _fits(value.number, stack)
    low = value.number < least
    many = several(stack.steps, "module")
    end = leaf(f"{many} as described, every cell {'empty' if low else 'full'}", "U", "V",
               least if low else most, "definition", origin=_RULE)
    why = "" if fits or low else "; the larger counts for gloves, sections and energy"
    return Check(title, "highest voltage", PASS if fits else FAIL, value, end,
                 "at least" if low else "at most",
                 f"{many} as described: {least:.1f} V to {most:.1f} V{why}",
                 "" if fits else "count the modules and the cells again")


def _window(stack: Stack) -> tuple[float, float]:
    """Voltage of the whole chain, every cell empty and every cell full."""
    module = stack.module
    return (stack.steps * module.series * module.empty_voltage.number,
            stack.highest(Run(1, stack.steps)).number)


def _fits(voltage: float, stack: Stack) -> bool:
    least, most = _window(stack)
    return least <= voltage <= most * (1 + EXACT)


def _charge_agrees(donor: Donor, stack: Stack) -> Check:
    """The donor's charge as given against its voltage: what counts for energy and for bands."""
    title, band = "charge of the donor against its voltage", _charge_by_voltage(donor, stack)
    open_ = functools.partial(Check, title, "highest voltage", NOT_EVALUATED)
    reading = "" if donor.total_voltage.known else "give donor.total_voltage, as read"
    bands = "the voltmeter's bands " + (
        "follow the voltage" if donor.total_voltage.known else "reach from empty to full"
        if stack.told is None or donor.module.needs_bench else "follow the charge as given")
    if donor.module.needs_bench:
        return open_(reason=f"no open-circuit curve of {donor.module.chemistry} may be assumed: "
                     f"energy is counted as full, {bands}; energy takes the voltage of a full "
                     "module throughout, which errs high", remedy=reading)
    if band is None:
        said = "charge not given" if stack.told is None else \
            f"an instrument alone says {donor.charge.shown}"
        why = "the voltage does not go with the modules" if donor.total_voltage.known else \
            "no voltage bears it out"
        return open_(reason=f"{said}; {why}: energy is counted as full, {bands}", remedy=reading
                     or "count the modules and the cells again")
    low, high = band
    words = (f"{donor.total_voltage.shown} is {donor.total_voltage.number / stack.steps:.2f} V a "
             f"module: {100 * low:.0f} to {100 * high:.0f} % by the published curves")
    if stack.told is None:
        return open_(reason=f"charge not given; {words}; energy is counted as full, {bands}",
                     remedy="give donor.charge, from its instrument")
    counted = f"energy is counted at {_most_charge(donor, stack).shown}"
    if max(high, donor.charge.number) < AT_LEAST_LEFT.number:
        counted += ", what an instrument's 0 % may leave"
    if low <= donor.charge.number <= high:
        return Check(title, "highest voltage", PASS, donor.charge, reason=f"{words}; {counted}, "
                     "the most that may be there")
    return Check(title, "highest voltage", CAUTION, donor.charge, reason=f"{words}; the two "
                 f"contradict: the higher charge counts for energy ({counted}), the voltage for "
                 "the voltmeter's bands", remedy="read both again, and count the modules, before "
                 "anything is opened")


def _past(donor: Donor) -> tuple[Check, ...]:
    found = []
    for name, word in (("crash", "crashed or burnt"), ("water", "in water")):
        answer = getattr(donor, name)
        verdict = {"no": PASS, "yes": CAUTION, "unknown": NOT_EVALUATED}[answer]
        remedy = "" if answer == "no" else ("count every module as damaged: outdoors, "
                                            f"{APART} from anything that burns, watched for 30 "
                                            f"days; {APART_READ}")
        found.append(Check(f"donor {word}", "thermal load", verdict,
                           reason={"no": "said not", "yes": "said so",
                                   "unknown": "not said"}[answer], remedy=remedy))
    return tuple(found)


def gloves(voltage: float) -> str:
    """Glove class for a DC voltage."""
    found = next((name for limit, name in GLOVES if voltage <= limit), None)
    if found is None:
        raise UserError(f"{voltage:.0f} V is above the gloves that this sheet knows (1500 V DC)")
    return found


def _preparation(donor: Donor, stack: Stack) -> tuple[str, ...]:
    highest = stack.highest(Run(1, stack.steps))
    return (
        "Two people, both told what to do: one works, one watches, can cut the supply and calls "
        "help. Never alone.",
        f"Gloves of {gloves(highest.number)} or better for {highest.shown}, within their test "
        "date, looked at and air-tested before each use, leather over them; face shield; tools "
        "insulated for the voltage; no rings, no watch.",
        f"Isolation first: {LIVE_POINT}; before the first tool touches the pack. It must pass. "
        "Terminals that read 0 V are dead behind open contactors or a pulled plug: no result.",
        "Then 12 V of the vehicle off, charger away, key locked away; service plug out; wait as "
        "the maker says. Prove the meter on a known source, measure, prove it again.",
        "One joint open at a time, its two ends capped before the next. No tool longer than the "
        "gap between two bare terminals. Cover what is not being worked on.",
        "A box of dry sand, a way out, and outdoors or a room that can be left open. Smoke, hiss "
        "or a sweet smell: leave, close, call the fire brigade.",
        "Write a mark on every module before it leaves its place: section and number from the "
        "minus end.")


def _storage_charge(sound: bool, described: Stack) -> str:
    """Who is brought to a storage charge: current may light a wetted, crushed or drained cell."""
    least = described.module.series * described.module.empty_voltage.number
    harmed = ("a module that was wet, crushed, burnt or dropped, swells, leaks, or reads below its "
              f"least voltage ({least:.1f} V)")
    if sound:
        return ("Storage charge 30 to 50 % (common practice), of sound modules alone: bring each "
                "there before it is stored; a full module burns harder, an empty one dies. Neither "
                f"charge nor drain {harmed} before its quarantine is over: apart, as it is.")
    return ("Neither charge nor drain what comes out before its quarantine is over: of this donor "
            "crash, fire, water or over-discharge is said or not ruled out, and current may light "
            "a cell that was harmed so. Only a module that comes out of quarantine sound is "
            f"brought to a storage charge of 30 to 50 % (common practice); never {harmed}.")


def _afterwards(donor: Donor, described: Stack) -> tuple[str, ...]:
    sound = donor.crash == "no" and donor.water == "no" and not _under(donor, described)
    apart = ("Quarantine: outdoors under a roof or in a room of its own, until each module's "
             "insulation and self-discharge are told, as far as the yard allows from buildings, "
             "vehicles and anything that burns. For modules of a donor said to be sound no "
             "distance is printed in the sources read; one that turns warm, swells, leaks or was "
             "dropped counts as damaged: the distance of a crashed donor."
             if sound else
             f"Quarantine outdoors, at least {APART} from buildings, vehicles and anything that "
             f"burns, watched for 30 days; {APART_READ}.")
    pressed = ("Do not loosen the end plates: these modules are counted as pressed and may swell "
               "and tear when the pressure goes; clamp them before the frame comes off, and store "
               "them clamped." if donor.compression == "yes" else
               "The modules are said to need no outside pressure: check the maker's drawing.")
    return (
        _storage_charge(sound, described),
        apart, pressed,
        "Cap every terminal and every sense connector at once; terminals never face each other; "
        "nothing metal on top.",
        "Next: the bench sheet, first the insulation of each module to its case, then a night at "
        "rest.")


# --- assembly, the same backwards ------------------------------------------------------------

def assembly(stack: Stack, first: Sequence[int] = ()) -> tuple[Step, ...]:
    """Joints closed in the reverse order: small sections first, service plug last.

    Args:
        stack: of the pack that is built.
        first: joints that a teardown would open first; they are closed last.
    """
    chain, known = Chain(stack.steps, frozenset(range(1, stack.steps))), _Known()
    found = [Step(0, "every module apart", 0, "each module: as on its bench sheet",
                  "both terminals of every module", states(stack, chain, known))]
    order = closing_order(stack.steps, tuple(first), stack.harmless_steps())
    for number, joint in enumerate(order, start=1):
        chain = chain.close(joint)
        after = states(stack, chain, known)
        joined = next(s for s in after if s.run.first <= joint < s.run.last)
        found.append(Step(
            number, f"fit the link {_between(joint)}", joint,
            f"before: 0 V between the two terminals to be joined; after: across section "
            f"{joined.run}: {band(joined)}; each end to the case: {CASE}",
            f"section {joined.run} up to {joined.highest.shown}", after))
    return tuple(found)

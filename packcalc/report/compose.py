"""Studies to documents: what can kill first, then the rest, then every chain."""

from __future__ import annotations

from collections.abc import Iterator

from packcalc.bench.assign import at_voltage
from packcalc.bench.stored import of_pack
from packcalc.checks import (
    CAUTION, FAIL, NOT_EVALUATED, STAGES, Check, Item, hidden_cautions,
)
from packcalc.decisions import Waiting, decisions, waiting
from packcalc.errors import UnknownName
from packcalc.findings import Finding
from packcalc.handover.as_built import Held
from packcalc.handover.voltage_class import called
from packcalc.measured import Measured, measured_against
from packcalc.mixes import mix_cautions, module_numbers
from packcalc.next_steps import find_next
from packcalc.pack import PackModel
from packcalc.protect.branch_figures import only_at_most
from packcalc.protection import ProtectionStudy
from packcalc.report.blocks import (
    RULES_TOLD_ONCE,
    Cell,
    checks_table,
    column,
    findings_table,
    item_chains,
    item_section,
    machine_key,
    named_chains,
    number,
    to_confirm,
    whole,
    words,
)
from packcalc.report.bench_report import readings_table
from packcalc.report.brief_report import (
    inputs_table, list_table, meta_of, modules_table, next_table, parts_table, wait,
)
from packcalc.report.build_report import as_built_sections
from packcalc.report.coordination_report import coordination_section
from packcalc.report.document import (
    Block,
    Bullets,
    Chain,
    Document,
    Facts,
    Paragraph,
    Section,
    Table,
)
from packcalc.report.drawings.modules_layout import modules_layout_figure
from packcalc.report.drawings.one_line import one_line_figure
from packcalc.report.drawings.precharge_traces import precharge_traces_figure
from packcalc.report.drawings.voltage_picture import voltage_picture_figure
from packcalc.report.frame import document
from packcalc.report.insulation_report import insulation_section
from packcalc.report.layouts_report import layouts_section
from packcalc.report.management_report import management_section
from packcalc.report.overvoltage_report import overvoltage_section
from packcalc.report.places_report import headline, places_chains, places_section
from packcalc.report.requests_report import nothing_named, requests_section
from packcalc.report.review_report import (
    decisions_sections,
    first_words,
    links_of,
    review_section,
    signature_section,
    with_decision_chains,
)
from packcalc.report.salvage_report import (
    front_against_bench,
    salvage_chains,
    salvage_sections,
)
from packcalc.report.states_report import states_section
from packcalc.review_merge import Review, merge
from packcalc.units import show
from packcalc.value import replace
from packcalc.worst_measured import Salvage

PLACE = "Fault place: "
MOST_THEN = 4  # open entries told on page one for which checks wait


def protection_document(study: ProtectionStudy, part: str = "", *,
                        chains: bool = True) -> Document:
    """The answer of `packcalc protect`.

    Args:
        study: what was sized.
        part: key of one part, which is then shown alone with its worked chains.
        chains: whether the appendix of worked chains is added to the whole.

    Raises:
        UnknownName: no such part.
    """
    brief = study.brief
    if part:
        body = _one_part(study, part)
    else:
        mixed = mix_cautions(brief, study.layout.entries)
        # What to ask suppliers for comes first, unless the layout itself will not do.
        sheets, bare = requests_section(study), nothing_named(study) and study.miss is None
        body = (*(sheets if bare else ()), _first(study), _places(study), *_judged(study),
                Section("chosen", "The layout", (
                    _layout_facts(study), *((Bullets(mixed, kind="caution"),) if mixed else ()))),
                *(() if bare else sheets), *_items(study),
                _appendix(study, layout=False) if chains else _left_out(study))
    return document("Protection", f"{_name(study)}: {brief.title or brief.place}", body,
                    meta_of(brief), study.pack)


def _one_part(study: ProtectionStudy, part: str) -> tuple[Section, ...]:
    by_key = {machine_key(item.key): (item, section) for item, section in zip(
        study.items, _items(study), strict=True)}
    if part not in by_key:
        raise UnknownName("part of the protection", part, by_key)
    item, section = by_key[part]
    return (section, Section("appendix", "Every figure of its duty, worked", item_chains(item)))


def _left_out(study: ProtectionStudy) -> Section:
    """Where the worked chains are, when a listing leaves them out."""
    keys = ", ".join(machine_key(item.key) for item in study.items)
    return Section("chains", "Worked chains", (Paragraph(
        "Left out of this listing. --part KEY shows one part with its chains, --chains adds all "
        f"of them, and packcalc report writes the whole file. Parts: {keys}."),))


def report_document(study: ProtectionStudy, review: Review | None = None,
                    held: Held | None = None) -> Document:
    """The whole file for review, with the marks of a review and what was really built."""
    brief = study.brief
    salvage = _at_highest(study)
    bench = salvage_sections(salvage.lot, salvage.dealt, salvage.refusal) if salvage else ()
    measured = measured_against(study)
    review = merge(study, bench=measured) if review is None else review
    worked = _appendix(study, layout=True, more=salvage_chains(salvage.dealt) if salvage else ())
    worked = with_decision_chains(worked, [s.decision for s in review.standings])
    gravest, further = decisions_sections(study, review, links_of(worked))
    said = (review_section(review),) if review.files else ()
    built = as_built_sections(study, held) if held else ()
    sections = (
        _first(study, measured, review), *said, *built[:1], gravest, *_judged(study, measured),
        _places(study), further, _pictures(study, salvage), _assumed(study, measured),
        layouts_section(study.study), _chosen(study), *bench,
        *(requests_section(study) if nothing_named(study) else ()),
        *_items(study), signature_section(brief), *built[1:], worked)
    subtitle = f"{_name(study)}: {brief.title or brief.place}"
    whole = document("Battery pack: file for review", subtitle, sections, meta_of(brief),
                     study.pack)
    return replace(whole, data=(list_table(brief.parts.list.parts), readings_table(
        salvage.lot.sheet.rows if salvage else ())))


def _at_highest(study: ProtectionStudy) -> Salvage | None:
    """The assignment asked for isolation at the voltage that every other figure rests on."""
    salvage = study.salvage
    if salvage is None or salvage.dealt is None:
        return salvage
    return replace(salvage, dealt=at_voltage(salvage.dealt, study.pack.highest_voltage))


def _name(study: ProtectionStudy) -> str:
    brief, layout = study.brief, study.layout
    several = len(brief.modules) + len(brief.untyped) > 1
    of = f" of module {module_numbers(brief, layout.entries)}" if several else ""
    return f"{layout.label} {layout.arrangement}{of} ({study.pack.cells})"


def _sentence(study: ProtectionStudy) -> str:
    pack = study.pack
    said = called(pack)
    how = "named by the user" if study.named else (
        "the nearest miss; no layout meets the brief" if study.miss and not len(study.study) else
        "the best-ranked layout")
    open_ = pack.highest_voltage.at_least
    most = ("or more DC (parts of the over-voltage chain are not evaluated)" if open_
            else "DC at most")
    return (f"Candidate for review: {_name(study)}, {how}: {pack.modules_used} modules, "
            f"{pack.highest_voltage.shown} {most}, "
            f"{_into_a_fault(study)}, {pack.usable_energy.shown} usable. "
            f"{said.danger + ' ' if said.danger else ''}{said.warning}")


def _most(study: ProtectionStudy) -> Finding:
    """The highest current of all fault places with every source, if that is more than the pack's.

    Sources of which nobody knows the current are not in it; the fault places name them.
    """
    alone = study.faults.highest
    every = [p.highest for p in study.circuit.places if p.highest.known]
    return max((alone, *every), key=lambda f: f.number) if alone.known else alone


def _into_a_fault(study: ProtectionStudy) -> str:
    most, alone = _most(study), study.faults.highest
    up_to = most.least or "up to "
    if most is alone:
        return f"{up_to}{alone.shown} into a fault"
    return f"{up_to}{most.shown} into a fault with {_sources(study)} ({alone.least}{alone.shown} " \
           "without)"


def _sources(study: ProtectionStudy) -> str:
    """What is in the sum: no motor that makes a voltage and no station of unknown current."""
    unknown = _unstated(study)
    return "every source but " + " and ".join(unknown) + ", of which nobody stated the current" \
        if unknown else "every source"


def _unstated(study: ProtectionStudy) -> list[str]:
    """Sources of which nobody stated the current: they are in no sum."""
    feeds, quiet = study.circuit.feeds, study.brief.motor.back_voltage
    unknown = [] if feeds.motor.known or (quiet.known and quiet.number == 0) \
        else ["a spinning motor"]
    if study.brief.left_open("station.capacitance"):
        unknown.append("a plugged station's capacitors")
    return unknown


def _fault_highest(study: ProtectionStudy) -> Cell:
    most, alone = _most(study), study.faults.highest
    if most is alone:
        return _at_least(alone)
    least = "at least " if _unstated(study) else most.least
    return Cell(f"{least}{most.shown}; {alone.least}{alone.shown} from the modules alone",
                _cell(most).value)


def _fault_lowest(study: ProtectionStudy) -> Cell:
    """Of the loops that size parts, with the lowest of those that are only told."""
    lowest = study.faults.lowest
    cell = _at_most(lowest)
    told = [p.lowest for place in study.circuit.places for p in (place, *place.rivals)]
    less = [one for one in told
            if one.known and lowest.known and 0.0 < one.number < lowest.number]
    if not less:
        return cell
    bound = "at most " if any(not one.known or only_at_most(one) for one in told) else ""
    return replace(cell, text=f"{cell.text} of the loops that size parts; {bound}"
                   f"{min(less, key=lambda one: one.number).shown} of others")


def _first(study: ProtectionStudy, bench: Measured = Measured(),
           review: Review | None = None) -> Section:
    """What can kill, what is open and what nobody clears: one screen."""
    pack, faults = study.pack, study.faults
    blocks: list[Block] = [Paragraph(_sentence(study), "lead")]
    if study.brief.counted:
        blocks.append(Paragraph(study.brief.counted, "caution"))
    if review is not None:
        blocks += first_words(review)
    if study.miss:
        blocks.append(Paragraph(f"This layout does not meet the brief: {study.miss.sentence}.",
                                "open"))
    stored = of_pack(study.brief, pack)
    five = tuple((key, label, cell, to_confirm(figure)) for key, label, cell, figure in (
        ("highest_voltage_V", "Highest working voltage", _at_least(pack.highest_voltage),
         pack.highest_voltage),
        ("fault_highest_A", "Highest fault current", _fault_highest(study), _most(study)),
        ("fault_lowest_A", "Lowest fault current", _fault_lowest(study), faults.lowest),
        ("least_fuse_rating_A", "Least main fuse rating, load side", _at_least(_least(study)),
         _least(study)),
        ("stored_energy_kWh", "Energy stored when full, at most", _cell(stored), stored)))
    blocks.append(Facts("first", "What can kill, in five figures", tuple(
        (key, label, replace(cell, text=f"{cell.text}; {sure}") if sure else cell)
        for key, label, cell, sure in five), _lower_bounds(study), _upper_bounds(study),
        tuple(key for key, _, _, sure in five if sure) or None))
    blocks += [b for b in front_against_bench(bench) if isinstance(b, Facts)]
    blocks += _fails(study)
    blocks.append(Paragraph(_open_line(study), "open"))
    blocks += [Paragraph(line, "open") for line in _give_first(_waiting(study, bench))]
    blocks.append(Paragraph(headline(study.circuit.places), "caution"))
    for item in study.without_candidate:
        blocks.append(Paragraph(f"{item.title}: no standard rating passes every check that could "
                                "be evaluated.", "open"))
    blocks.append(Bullets(tuple(faults.notes), kind="caution"))
    return Section("first", "What can kill first", tuple(blocks))


def _by_stage(checks: list[tuple[str, Check]]) -> list[tuple[str, Check]]:
    return sorted(checks, key=lambda pair: STAGES.index(pair[1].stage))


def _failing(study: ProtectionStudy) -> list[tuple[str, Check]]:
    return _by_stage([(title, c) for title, c in study.checks if c.verdict == FAIL])


def _fails(study: ProtectionStudy) -> Iterator[Block]:
    """How many checks fail, and which, by their part; nothing where none does."""
    failing = _failing(study)
    if not failing:
        return
    parts: dict[str, list[str]] = {}
    for title, check in failing:
        if not title.startswith(PLACE):  # these stand below, with those that need caution
            parts.setdefault(title, []).append(check.title)
    count = "1 check fails" if len(failing) == 1 else f"{len(failing)} checks fail"
    places = sum(title.startswith(PLACE) for title, _ in failing)
    where = f", {places} of them of fault places (see below)" if places else ""
    yield Paragraph(f"{count}{where}{', by part:' if parts else '.'}", "caution")
    if parts:
        yield Bullets(tuple(f"{title}: {'; '.join(named)}" for title, named in parts.items()),
                      kind="caution")


def _judged(study: ProtectionStudy, bench: Measured = Measured()) -> tuple[Section, ...]:
    """Each check that fails or needs caution; those of fault places stand in their own table."""
    measured = [b for b in front_against_bench(bench) if not isinstance(b, Facts)]
    grave = _failing(study) + _by_stage(
        [(title, c) for title, c in study.checks
         if c.verdict == CAUTION and not title.startswith(PLACE)]
        + [(item.title, c) for item in study.items for c in hidden_cautions(item)])
    failing = [_named_checks("failing", "What fails, then what needs caution; each by its stage, "
                             "gravest first", grave)] if grave else []
    blocks = (*measured, *failing)
    return (Section("judged", "What fails, and what needs caution", blocks),) if blocks else ()


def _places(study: ProtectionStudy) -> Section:
    return places_section(study.circuit.places)


def _pictures(study: ProtectionStudy, salvage: Salvage | None = None) -> Section:
    """The circuit, the modules with the marks dealt to them, and the voltages at a glance."""
    dealt = salvage.dealt if salvage else None
    marks: dict[int, list[str]] = {}
    for place in sorted(dealt.places, key=lambda p: (p.row, p.column)) if dealt else ():
        marks.setdefault(place.row, []).append(place.dealt.mark)
    return Section("pictures", "The circuit in pictures", (
        one_line_figure(study), voltage_picture_figure(study),
        modules_layout_figure(study, tuple(map(tuple, marks.values())))))


def _lower_bounds(study: ProtectionStudy) -> tuple[str, ...]:
    """Keys of the five figures that may be more than they say."""
    told = (("highest_voltage_V", study.pack.highest_voltage.at_least),
            ("fault_highest_A", _most(study).or_more or bool(_unstated(study))),
            ("least_fuse_rating_A", _least(study).at_least))
    return tuple(key for key, more in told if more)


def _upper_bounds(study: ProtectionStudy) -> tuple[str, ...]:
    """Keys of the five figures that may be less than they say, for what nobody told."""
    return ("fault_lowest_A",) if study.faults.lowest.or_less else ()


def _at_least(finding: Finding) -> Cell:
    """A figure of which a part is not known says on page one that it may be more."""
    cell = _cell(finding)
    return replace(cell, text=f"at least {cell.text}") if finding.least else cell


def _at_most(finding: Finding) -> Cell:
    """A current to which a place of unknown current may add a lower one says so on page one."""
    cell = _cell(finding)
    return replace(cell, text=f"{finding.most}{cell.text}")


def _cell(finding: Finding) -> Cell:
    if finding.value is None:
        return Cell("not known")
    value = number(finding.value, finding.unit)
    return Cell(finding.shown, value.value)


def _least(study: ProtectionStudy) -> Finding:
    return next(i for i in study.items if i.key == "main_fuse").duty[0]


def _named_checks(key: str, caption: str, checks: list) -> Table:
    base = checks_table(key, caption, [c for _, c in checks])
    columns = (column("part", "Part"), column("stage", "Stage"), *base.columns)
    rows = tuple((words(title), words(c.stage), *row)
                 for (title, c), row in zip(checks, base.rows, strict=True))
    return Table(key, caption, columns, rows)


def _open_line(study: ProtectionStudy) -> str:
    items = sum(len(i.open_items) for i in study.items)
    unknown = len(study.brief.unknowns)
    never = sum(c.verdict == NOT_EVALUATED for _, c in study.checks)
    return (f"{unknown} entries of the brief, {items} questions to suppliers and {never} checks "
            "that could not be evaluated; each stands with its part below.")


def _waiting(study: ProtectionStudy, bench: Measured) -> tuple[Waiting, ...]:
    return waiting(decisions(study, bench), study.brief)


def _give_first(held: tuple[Waiting, ...]) -> Iterator[str]:
    """The line of the brief for which most waits, with the next ones; none where none is named."""
    for most in held[:1]:
        ends = f", {most.places} of them of places where nobody is shown to end a fault" \
            if most.places else ""
        then = ", ".join(f"{one.entry} ({one.checks})" for one in held[1:MOST_THEN])
        yield (f"Give {most.entry} in the brief first: {wait(most.checks, most.failed)}{ends}."
               + (f" Then {then}." if then else ""))


def _assumed(study: ProtectionStudy, bench: Measured = Measured()) -> Section:
    """Inputs, assumptions, and what to find next."""
    brief = study.brief
    blocks: list[Block] = []
    if brief.note:
        blocks.append(Paragraph(brief.note))
    if brief.unknowns:
        held = _waiting(study, bench)
        steps = find_next(brief, study.layout, {one.entry: one.checks for one in held},
                          {one.entry: one.failed for one in held})
        blocks.append(next_table(brief, study.layout, steps=steps))
    parts = parts_table(brief)
    blocks += [inputs_table(brief), modules_table(brief), *([parts] if parts else [])]
    return Section("inputs", "Inputs and assumptions", tuple(blocks))


def _figures(study: ProtectionStudy) -> tuple[Finding, ...]:
    pack = study.pack
    return (pack.highest_voltage, pack.full_voltage, pack.regeneration_voltage,
            pack.nominal_voltage, pack.empty_voltage, pack.charge_left, pack.loaded_voltage,
            pack.available_power, pack.largest_power, pack.continuous_power,
            pack.peak_current, pack.continuous_current, pack.charging_current,
            pack.regeneration_current, pack.module_peak_current, pack.module_rate,
            pack.module_peak_limit, pack.module_continuous_limit, pack.module_charge_limit,
            pack.capacity, pack.usable_energy, of_pack(study.brief, pack), pack.mass,
            pack.resistance_sag, pack.resistance_initial, pack.resistance_long)


def _chosen(study: ProtectionStudy) -> Section:
    """The chosen layout at its corners, with chains."""
    pack = study.pack
    figures = _figures(study)
    blocks: list[Block] = [
        _layout_facts(study),
        findings_table("corner_figures", "Figures of the layout, each at its governing corner",
                       figures),
        _corners(pack),
    ]
    if pack.notes:
        blocks.append(Bullets(pack.notes, kind="caution"))
    return Section("chosen", f"The layout {pack.layout.label} at its corners", tuple(blocks))


def _layout_facts(study: ProtectionStudy) -> Facts:
    pack = study.pack
    left = ", ".join(f"{n} of {o.module.id}" for n, o in zip(
        pack.modules_left, (study.brief.modules[p.entry] for p in pack.layout.parts), strict=True))
    return Facts("layout", "The layout", (
        ("layout", "Modules", words(pack.layout.label)),
        ("arrangement", "Arrangement", words(pack.layout.arrangement)),
        ("cells", "Cells", words(pack.cells)),
        ("modules_used", "Modules used", whole(pack.modules_used)),
        ("modules_left", "Modules left", words(left)),
        ("monitor_channels", "Cell voltages to monitor", whole(pack.channels)),
        ("curve_spread_V", "Spread of the curves", _with_unit(pack.curve_spread, "V"))))


def _with_unit(value: float, unit: str) -> Cell:
    return Cell(show(value, unit), number(value, unit).value)


def _appendix(study: ProtectionStudy, *, layout: bool,
              more: tuple[Chain, ...] = ()) -> Section:
    """Every chain, down to the user's own entries; decisions come before them on paper."""
    faults = study.faults
    chains = [Chain(f"fault.{name}", f) for name, f in (
        ("highest", faults.highest), ("lowest", faults.lowest),
        ("time_constant", faults.time_constant_highest)) if f.known]
    if layout:
        chains += named_chains("layout", _figures(study))
    for item in study.items:
        chains += item_chains(item)
    chains += [*places_chains(study.circuit.places), *more]
    words_first = Paragraph(
        "Each figure with its inputs, rule, numbers, result, source and basis. Inputs are printed "
        "with four figures, more where the rule subtracts near-equal numbers, so that a pocket "
        f"calculator gives the printed result. {RULES_TOLD_ONCE}")
    return Section("appendix", "Appendix: every figure worked", (words_first, *chains))


def _corners(pack: PackModel) -> Table:
    columns = (column("charge_percent", "Charge", "%"),
               column("temperature_degC", "Cells", "°C"), column("age", "Age"),
               column("strings_in", "Strings in"),
               column("open_circuit_V", "Open circuit", "V"),
               column("resistance_mohm", "Resistance", "mΩ"), column("current_A", "Current", "A"),
               column("loaded_V", "Loaded", "V"), column("available_kW", "Available", "kW"),
               column("continuous_V", "Loaded, continuous", "V"),
               column("braking_V", "Braking", "V"))
    rows = tuple(
        (number(c.charge, "%"), number(c.temperature, "°C", 3), words(c.age), whole(c.strings),
         number(c.open_circuit, "V"), number(c.resistance, "mΩ"),
         number(c.current, "A") if c.current == c.current else Cell("cannot deliver"),
         number(c.loaded, "V"), number(c.available, "kW"), number(c.steady, "V"),
         number(c.braking, "V")) for c in pack.corners)
    return Table("corners", "Peak, continuous and braking power at every crossed corner", columns,
                 rows,
                 "Charge × temperature × age × strings, all crossed. Low charge is the charge left "
                 "at the end of the peak. Contactors closed; with contactors open the pack's "
                 "terminals still stand at the open-circuit voltage.")


def _items(study: ProtectionStudy) -> tuple[Section, ...]:
    """Every part in the order of consequence, each with its own tables and picture."""
    circuit, held = study.circuit, study.coordination
    own = {
        id(held.item): lambda: coordination_section(held),
        id(circuit.overvoltage.item): lambda: overvoltage_section(circuit.overvoltage),
        id(circuit.insulation.item): lambda: insulation_section(circuit.insulation),
        id(circuit.management.item): lambda: management_section(circuit.management),
    }
    inside = circuit.inside_strings
    if inside is not None:
        own[id(inside.item)] = lambda: coordination_section(inside)
    return tuple(_section_of(study, item, own) for item in study.items)


def _section_of(study: ProtectionStudy, item: Item, own: dict) -> Section:
    if id(item) in own:
        return own[id(item)]()
    if item.key == "switching":
        return states_section(replace(study.circuit.states, item=item))
    section = item_section(item, level=1)
    if item.key != "precharge":
        return section
    traces = precharge_traces_figure(study)
    return section if traces is None else replace(section, blocks=(*section.blocks, traces))

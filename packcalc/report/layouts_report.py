"""Layouts as tables: ranked, then the nearest misses with what would let them in."""

from __future__ import annotations

from collections.abc import Iterator

from packcalc import modules as mod
from packcalc.brief import Brief
from packcalc.layout_findings import Builder
from packcalc.layouts import NEAREST, RANKING, Layout
from packcalc.mixes import mix_cautions, module_numbers
from packcalc.report.blocks import column, number, whole, words
from packcalc.report.brief_report import inputs_table, meta_of, modules_table, next_table
from packcalc.report.document import (
    Block,
    Bullets,
    Cell,
    Document,
    Paragraph,
    Section,
    Table,
)
from packcalc.report.frame import document
from packcalc.study import LayoutStudy, above_maximum

COLUMNS = (
    column("layout", "Layout"), column("arrangement", "Arrangement"), column("cells", "Cells"),
    column("highest_voltage_V", "Highest", "V"), column("full_voltage_V", "Full", "V"),
    column("regeneration_voltage_V", "Braking", "V"),
    column("nominal_voltage_V", "Mean", "V"), column("loaded_voltage_V", "Loaded", "V"),
    column("total_energy_kWh", "Held full, as worn", "kWh"),
    column("usable_energy_kWh", "Usable", "kWh"),
    column("available_power_kW", "Available", "kW"),
    column("continuous_power_kW", "Continuous", "kW"),
    column("peak_current_A", "Peak", "A"), column("module_peak_current_A", "Per module", "A"),
    column("rate_per_h", "Rate", "1/h"),
    column("mass_kg", "Mass", "kg"), column("modules_used", "Used", ""),
    column("modules_left", "Left", ""), column("monitor_channels", "Channels", ""),
    column("smallest_margin_percent", "Smallest margin", "%"), column("modules", "Modules"),
    column("module_entries", "Entry"),
)

LEGEND = (
    "Highest: highest voltage of the battery side. Full: end of charging with the charger's "
    "tolerance. Braking: power fed back into a cold pack, full or at a lower charge that gives "
    "more. Mean: over the charge window. Loaded: at the inverter, cold, aged, nearly empty, at "
    "the end of the peak. Held full, as worn: from full to empty at the state of health counted; "
    "no figure of hazard: the energy stored when full, at most, counts all of the label and is "
    "higher. Usable: within the charge window. Available: power with the bus held at the voltage "
    "that full power needs. Peak: current of the peak power at the lowest voltage at which it may "
    "be drawn. Rate: peak current of a module against its real capacity. Channels: cell voltages "
    "to monitor."
)
ENTRY = ("Entry: number in the brief's list of [[modules]], as --module takes it; the same stands "
         "in brackets behind a layout where the brief has several.")


def _label(brief: Brief, layout: Layout) -> Cell:
    """The layout, told apart from its namesakes of other modules; a script gets the bare name."""
    if len(brief.modules) + len(brief.untyped) == 1:
        return words(layout.label)
    return Cell(f"{layout.label} ({module_numbers(brief, layout.entries)})", layout.label)


def _made_of(brief: Brief, layout: Layout) -> tuple[Cell, Cell]:
    """The modules by id, and their numbers in the brief."""
    return (words(" + ".join(brief.modules[p.entry].module.id for p in layout.parts)),
            words(module_numbers(brief, layout.entries)))


def _row(study: LayoutStudy, rank: int) -> tuple[Cell, ...]:
    brief, layout, r = study.brief, study.layout(rank), study.row(rank)
    most = study.asks.peak_drawn / study.asks.peak_voltage
    per_module = most / layout.parallel
    used = layout.series * layout.parallel
    on_hand = [brief.modules[p.entry] for p in layout.parts]
    left = sum(int(o.count.number) for o in on_hand) - used
    real = r["capacity"] / layout.parallel
    channels = layout.parallel * sum(p.series * o.module.series
                                     for p, o in zip(layout.parts, on_hand, strict=True))
    return (_label(brief, layout), words(layout.arrangement), words(layout.cells(brief)),
            number(r["highest_voltage"], "V"), number(r["full_voltage"], "V"),
            number(r["regeneration_voltage"], "V"), number(r["mean_voltage"], "V"),
            number(r["loaded_voltage"], "V"), number(r["total_energy"], "kWh"),
            number(r["usable_energy"], "kWh"), number(r["available_power"], "kW"),
            number(r["continuous_power"], "kW"), number(most, "A"), number(per_module, "A"),
            number(per_module / real, "1/h"), number(r["mass"], "kg"), whole(used), whole(left),
            whole(channels), number(r["smallest_margin"], "%", 2), *_made_of(brief, layout))


def layouts_table(study: LayoutStudy, most: int) -> Table:
    """The ranked layouts, best first."""
    shown = min(most, len(study)) if most else len(study)
    rows = tuple(_row(study, rank) for rank in range(shown))
    more = f" {len(study) - shown} more not shown." if len(study) > shown else ""
    many = "s" if len(study) != 1 else ""
    return Table("layouts", f"{len(study)} candidate layout{many} of {study.tried} tried, ranked",
                 COLUMNS, rows, f"Ranked by: {RANKING}. {LEGEND} {ENTRY}{more}" if rows else "")


def misses_table(study: LayoutStudy) -> Table:
    """The nearest misses, each with what fails and what would let it in."""
    columns = (column("layout", "Layout"), column("arrangement", "Arrangement"),
               column("cells", "Cells"), column("fails", "What fails, and by how much", wide=True),
               column("change", "What would let it in", wide=True),
               column("modules", "Modules"), column("module_entries", "Entry"))
    brief = study.brief
    rows = tuple(
        (_label(brief, m.layout), words(m.layout.arrangement), words(m.cells),
         words(m.fails), words(m.change), *_made_of(brief, m.layout))
        for m in study.misses)
    return Table("near_misses", "Nearest misses", columns, rows,
                 f"Nearest first: {NEAREST}. {ENTRY}")


MOST_OPEN = 6  # open entries listed where no layout fits


def layouts_document(study: LayoutStudy, most: int = 20) -> Document:
    """The answer of `packcalc layouts`."""
    brief = study.brief
    sections = [layouts_section(study, most)]
    if not len(study) and study.misses and brief.unknowns:
        sections.append(Section("next", "What to find first", (
            next_table(brief, study.misses[0].layout, MOST_OPEN),)))
    if not len(study) and not study.misses:
        sections.append(Section("next", "What to find first", (_measurements(brief),)))
    return document("Layouts", brief.title or brief.place, tuple(sections), meta_of(brief))


def untried_document(study: LayoutStudy, page: str = "") -> Document:
    """The whole file where no module can be tried: why, what to measure, what was read.

    Args:
        study: without a layout.
        page: title of another page that was asked for, and is not written without a layout.
    """
    brief = study.brief
    lead = Paragraph(
        "No candidate: nothing is sized, because no layout can be tried yet. LETHAL all the "
        "same: every module on hand holds its full energy and cannot be switched off.", "lead")
    left = (Paragraph(f"{page}: not written, nor any form of it, because it rests on one layout. "
                      "What is missing stands below.", "open"),) if page else ()
    inputs: list[Block] = [Paragraph(brief.note)] if brief.note else []
    if brief.unknowns:
        inputs.append(next_table(brief, None))
    inputs += [inputs_table(brief), modules_table(brief)]
    title = f"{page}: not written" if page else "Battery pack: file for review"
    return document(title, brief.title or brief.place, (
        Section("first", "What can kill first", (lead, *left)),
        layouts_section(study),
        Section("measure", "What to find first", (
            _measurements(brief),)),
        Section("inputs", "Inputs and assumptions", tuple(inputs))), meta_of(brief))


def _measurements(brief: Brief) -> Table:
    """What nothing is tried without, and how it is read or measured."""
    columns = (column("module", "Module"), column("needed", "What is needed", wide=True),
               column("find", "How to find it", wide=True))
    titles = {f"modules[{brief.number_of(i)}]": on_hand.module.title
              for i, on_hand in enumerate(brief.modules)}
    return Table("measure", "Find these first, or nothing is tried", columns, tuple(
        (words("" if u.key.required else titles.get(u.dotted.partition(".")[0], u.dotted)),
         words(u.key.title), words(u.key.find)) for u in brief.unknowns if u.decides))


# Open entries that nothing bounds, and by which layouts fit or miss.
TRIED_WITH = ("inverter.full_power_from", "power.continuous", "regeneration.power",
              "charger.power")


def layouts_section(study: LayoutStudy, most: int = 20) -> Section:
    """Layouts, misses and refusals."""
    blocks: list[Block] = []
    if len(study):
        blocks.append(layouts_table(study, most))
    else:
        blocks.append(Paragraph(
            f"No layout of the modules on hand meets the brief ({study.tried} tried). The nearest "
            "misses below say what fails and what would let them in." if study.misses else
            "No layout of the modules on hand can be tried; the reasons stand below.", "open"))
        blocks.append(layouts_table(study, most))
    if study.misses:
        blocks.append(misses_table(study))
    shown = [*(study.layout(rank) for rank in range(min(most, len(study)) if most else len(study))),
             *(m.layout for m in study.misses)]
    mixed = tuple(dict.fromkeys(w for one in shown for w in mix_cautions(study.brief, one.entries)))
    if mixed:
        blocks.append(Bullets(mixed, kind="caution"))
    above = above_maximum(study.brief) if shown else ()
    if above:
        blocks.append(Bullets(above, key="above_maximum", kind="caution"))
    if study.refusals:
        blocks.append(Bullets(study.refusals, key="refusals"))
    if study.not_evaluated:
        blocks.append(Bullets(study.not_evaluated, key="not_evaluated"))
    blocks += [Paragraph(words) for words in (
        *_open_at_load(study), *_assumed(study.brief), *_by_brief(study.brief))]
    spread = curve_words(study.brief)
    if spread:
        blocks.append(Paragraph(spread))
    return Section("layouts", "Layouts", tuple(blocks))


def _open_at_load(study: LayoutStudy) -> Iterator[str]:
    """Which figures of every layout are only an end while nobody told the whole path."""
    if len(study):
        layout = Builder(study.brief, study.layout(0))
        why = layout.open_at_load(layout.path())
        if why:
            yield ("Whether the loaded voltage and the continuous power of these layouts are "
                   "enough is not evaluated: loaded, available and continuous are at most what "
                   f"the table says, braking at least; {why}.")


def _assumed(brief: Brief) -> Iterator[str]:
    """What layouts are tried with while nobody said it, and a true value may well be more."""
    for key in (u.key for u in brief.unknowns if u.dotted in TRIED_WITH):
        yield f"Assumed, because {key.dotted} is open: {key.consequence}."


def _by_brief(brief: Brief) -> Iterator[str]:
    """That the bench sheet may show worse modules than the figures of this list."""
    if brief.bench is not None and brief.bench.file:
        yield (f"Screened with the brief's own resistance growth and state of health. Where "
               f"{brief.bench.file} shows a worse module among those built in, it counts for every "
               "one once a layout is taken: packcalc protect, report and every page after them.")


def curve_words(brief: Brief) -> str:
    """How far the published curves of each class differ at three charges."""
    lines = []
    for on_hand in brief.modules:
        module = on_hand.module
        if module.needs_bench and not module.rest_voltages:
            continue
        spans = []
        for charge in (0.2, 0.5, 0.8):
            low = float(mod.ocv_low(module, charge)) / module.series
            high = float(mod.ocv_high(module, charge)) / module.series
            spans.append(f"{100 * charge:.0f} %: {low:.3f} to {high:.3f} V")
        lines.append(f"{module.title}: rest voltage per cell at " + ", ".join(spans))
    if not lines:
        return ""
    return ("Published curves of a class differ; sag uses the lowest and highest voltage the "
            "highest. " + ". ".join(lines) + ".")

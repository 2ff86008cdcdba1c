"""The highest working voltage that modules on the bench are held to.

Insulation is read before a layout is chosen, yet its line follows from the over-voltage chain of a
layout: a charger's ceiling or braking may reach past the inverter's own absolute maximum.
"""

from __future__ import annotations

import numpy as np

from packcalc.bench.isolation import NO_LAYOUT
from packcalc.brief import Brief
from packcalc.findings import AT_LEAST, Finding
from packcalc.layouts import Layout, Screened
from packcalc.pack import model_pack
from packcalc.protect.overvoltage import overvoltage_asked, study_overvoltage
from packcalc.study import LayoutStudy, list_layouts


def voltage_of(brief: Brief, layout: Layout) -> Finding:
    """Highest working voltage of one layout, by its over-voltage chain."""
    found = study_overvoltage(overvoltage_asked(brief, model_pack(brief, layout))).highest
    return found.called(f"highest working voltage of {layout.label}", "U")


def asked_of_bench(brief: Brief) -> tuple[Finding | None, int]:
    """The largest voltage of all layouts that fit, and the most modules of one of them.

    Of the nearest misses where none fits. Where the brief says how many modules the pack has,
    layouts of that many count alone.

    Returns:
        The voltage, None where no layout can be tried; the count, 0 where none fits or where one
        has as many as the brief says.
    """
    study = list_layouts(brief)
    count, layouts = _fitting(study)
    return _largest(study, count, layouts), _most_modules(study)


def _largest(study: LayoutStudy, count: int, layouts: list[Layout]) -> Finding | None:
    """The largest voltage of these layouts; of the nearest misses where there are none."""
    if not layouts:
        layouts = list(study.near.layouts)
    if not layouts:
        return None
    found = max((voltage_of(study.brief, one) for one in layouts), key=lambda f: f.number)
    if not count:
        return found.called(f"{found.title}, the largest of the nearest misses",
                            note=f"{AT_LEAST}: {NO_LAYOUT}")
    if count == 1:
        return found
    side = "" if found.at_least else " (errs high)"  # what is open of it errs the other way
    return found.called(f"{found.title}, the largest of {count} layouts that fit{side}")


def _most_modules(study: LayoutStudy) -> int:
    """Most modules of a layout that fits, where none has as many as the brief says; else 0."""
    wanted = study.brief.bench.modules_in_pack.value if study.brief.bench is not None else None
    counts = {int(n) for block in study.screened for n in np.unique(_modules(block))}
    return 0 if wanted is None or round(wanted) in counts else max(counts, default=0)


def _fitting(study: LayoutStudy) -> tuple[int, list[Layout]]:
    """How many layouts fit, and those of them whose chain may reach highest."""
    wanted = study.brief.bench.modules_in_pack.value if study.brief.bench is not None else None
    blocks = [(block, np.arange(len(block))) for block in study.screened]
    if wanted is not None:
        own = [(block, np.flatnonzero(_modules(block) == round(wanted))) for block, _ in blocks]
        blocks = own if any(len(rows) for _, rows in own) else blocks
    found: list[Layout] = []
    for block, rows in blocks:
        for name in ("full_voltage", "regeneration_voltage") if len(rows) else ():
            found.append(block.layout(int(rows[np.argmax(block.columns[name][rows])])))
    return sum(len(rows) for _, rows in blocks), list(dict.fromkeys(found))


def _modules(block: Screened) -> np.ndarray:
    return np.asarray(block.series.sum(axis=1) * block.parallel)

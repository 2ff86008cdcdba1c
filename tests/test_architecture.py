"""The floors of the house: a module imports only what stands below it."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "packcalc"

# Lower floors first; modules of one floor may not import each other unless listed as stairs.
FLOORS = (
    ("packcalc", "packcalc.errors", "packcalc.value"),
    ("packcalc.marks",),
    ("packcalc.dimensions",),
    ("packcalc.units", "packcalc.sources"),
    ("packcalc.findings",),
    ("packcalc.tables", "packcalc.checks"),
    ("packcalc.cell_formulas", "packcalc.curves"),
    ("packcalc.cells",),
    ("packcalc.modules", "packcalc.parts"),
    ("packcalc.entry_key",),
    ("packcalc.bench_keys",),
    ("packcalc.brief_keys",),
    ("packcalc.brief", "packcalc.bench.sheet"),
    ("packcalc.bench.donor_past",),
    ("packcalc.reading",),
    ("packcalc.transients", "packcalc.conductors", "packcalc.fuse_formulas", "packcalc.part_formulas",
     "packcalc.distances", "packcalc.isolation_formulas", "packcalc.monitoring"),
    ("packcalc.loads", "packcalc.electrical", "packcalc.charging", "packcalc.cable_rules", "packcalc.mixes"),
    ("packcalc.contacts",),
    ("packcalc.layouts", "packcalc.braking"),
    ("packcalc.screening",),
    ("packcalc.remedies",),
    ("packcalc.layout_findings",),
    ("packcalc.pack_charging",),
    ("packcalc.misses", "packcalc.pack", "packcalc.next_steps"),
    ("packcalc.bench",),
    ("packcalc.worst_measured",),
    ("packcalc.part_checks",),
    ("packcalc.protect.route_figures", "packcalc.protect.state_checks",
     "packcalc.protect.branch_figures"),
    ("packcalc.protect",),
    ("packcalc.catalogue", "packcalc.study", "packcalc.feeds", "packcalc.place_demands", "packcalc.unended"),
    ("packcalc.strings_left", "packcalc.highest_voltage"),
    ("packcalc.places", "packcalc.side_circuits", "packcalc.clearing"),
    ("packcalc.string_sweep", "packcalc.place_sweep", "packcalc.further_parts"),
    ("packcalc.place_arcs", "packcalc.place_heats", "packcalc.place_contacts", "packcalc.place_cells", "packcalc.charge_opening"),
    ("packcalc.charge_contactor",),
    ("packcalc.circuit",),
    ("packcalc.duties",),
    ("packcalc.protection",),
    ("packcalc.difference", "packcalc.measured"),
    ("packcalc.decisions",),
    ("packcalc.review_since",),
    ("packcalc.review",),
    ("packcalc.review_words",),
    ("packcalc.review_change",),
    ("packcalc.review_renamed",),
    ("packcalc.review_merge",),
    ("packcalc.review_carry",),
    ("packcalc.handover",),
    ("packcalc.report",),
    ("packcalc.api", "packcalc.door"),
    ("packcalc.cli_layout",),
    ("packcalc.cli_bench", "packcalc.cli_assign", "packcalc.cli_handover", "packcalc.cli_review"),
    ("packcalc.cli",),
    ("packcalc.__main__",),
)


def _floor(module: str) -> int:
    for number, names in enumerate(FLOORS):
        for name in names:
            if module == name or (name != "packcalc" and module.startswith(name + ".")):
                return number
    raise AssertionError(f"{module} stands on no floor: add it to FLOORS")


def _name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.startswith("packcalc")}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("packcalc"):
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                place = ROOT.joinpath(*whole.split("."))
                inner = place.is_dir() or place.with_suffix(".py").exists()
                found.add(whole if inner or node.module == "packcalc" else node.module)
    return found


FILES = sorted(PACKAGE.rglob("*.py"))


def _climbs(path: Path) -> list[str]:
    """Imports of one module that do not stand on a lower floor."""
    here = _name(path)
    if here == "packcalc":  # the front door re-exports lazily
        return []
    found = []
    for imported in _imports(path):
        if imported == "packcalc.__version__":
            continue
        same_folder = here.count(".") > 1 and imported.split(".")[:2] == here.split(".")[:2]
        if same_folder and not here.startswith("packcalc.protect."):
            continue
        if not (_floor(imported) < _floor(here) or imported == here):
            found.append(f"{here} imports {imported}")
    return found


def test_a_module_imports_only_lower_floors():
    assert len(FILES) > 100
    assert [line for path in FILES for line in _climbs(path)] == []


def test_pint_has_one_door():
    doors = [path.name for path in FILES if re.search(
        r"^\s*(import|from) pint\b", path.read_text("utf-8"), re.MULTILINE)]
    assert doors == ["units.py"]


def test_lines_are_short():
    assert [f"{path}:{number} has {len(line)} characters" for path in FILES
            for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
            if len(line) > 100] == []


def test_nothing_is_evaluated():
    texts = ((path, path.read_text("utf-8")) for path in FILES)
    for path, text in texts:
        called = re.search(r"\b(eval|exec)\s*\(", text)  # reading a whole module takes long
        for node in ast.walk(ast.parse(text)) if called else ():
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in ("eval", "exec"), path

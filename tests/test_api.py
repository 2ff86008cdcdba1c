"""packcalc from Python: the same answers as the command line, as objects."""

from __future__ import annotations

import inspect
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pandas
import pint
import pytest

import packcalc
from packcalc import api
from packcalc.findings import Finding
from packcalc.report.layouts_report import COLUMNS
from tests.cli.runner import GOOD, NONE_FITS, run

ROOT = Path(__file__).resolve().parents[1]


def brief(text: str = GOOD):
    return packcalc.make_brief(tomllib.loads(text))


# -- the front door ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", [n for n in packcalc.__all__ if n != "__version__"])
def test_every_name_can_be_taken_from_the_package(name) -> None:
    found = getattr(packcalc, name)
    assert name in dir(packcalc)
    assert found is getattr(api if name in api.__all__ else packcalc.errors, name)


def test_the_package_exports_the_whole_api() -> None:
    assert set(api.__all__) <= set(packcalc.__all__)
    with pytest.raises(AttributeError, match="no attribute 'layout'"):
        packcalc.layout  # noqa: B018


@pytest.mark.parametrize("name", api.__all__)
def test_every_function_has_a_summary_and_an_example(name) -> None:
    words = inspect.getdoc(getattr(api, name))
    assert words.splitlines()[0].endswith(".") and "Examples:\n    >>> " in words


def test_import_is_cheap() -> None:
    words = "import sys, packcalc; packcalc.UserError; print(' '.join(sys.modules))"
    ran = subprocess.run([sys.executable, "-c", words], cwd=ROOT, capture_output=True, text=True)
    assert not {"numpy", "pandas", "pint", "click", "jinja2", "packcalc.api"} & \
        set(ran.stdout.split())


# -- briefs -----------------------------------------------------------------------------------


def test_a_file_and_its_data_are_the_same_brief(tmp_path) -> None:
    path = tmp_path / "b.toml"
    path.write_text(GOOD, "utf-8")
    from_file, from_data = packcalc.read_brief(path), brief()
    assert [(name, f.value, f.basis) for name, f in from_file.entries()] == \
        [(name, f.value, f.basis) for name, f in from_data.entries()]


def test_quantities_of_any_registry() -> None:
    ureg = pint.UnitRegistry()
    data = tomllib.loads(GOOD)
    data["power"]["peak"] = ureg.Quantity(90_000, "W")
    data["power"]["peak_duration"] = ureg.Quantity(1 / 6, "minute")
    data["inverter"]["voltage_range"] = [ureg.Quantity(0.24, "kV"), ureg.Quantity(420, "V")]
    data["battery"]["coldest_start"] = ureg.Quantity(50, "degF")
    data["modules"][0]["state_of_health"] = ureg.Quantity(90, "percent")
    given, texts = packcalc.make_brief(data), brief()
    for (name, left), (_, right) in zip(given.entries(), texts.entries(), strict=True):
        assert left.known == right.known, name
        assert not left.known or left.number == pytest.approx(right.number, rel=1e-12), name
    assert packcalc.list_layouts(given).layout(0) == packcalc.list_layouts(texts).layout(0)


def test_named_errors() -> None:
    data = tomllib.loads(GOOD)
    data["power"]["peak"] = 90
    data["modules"][0]["count"] = 0
    with pytest.raises(packcalc.InputErrors) as caught:
        packcalc.make_brief(data, place="my script")
    assert [(f.file, f.key) for f in caught.value.faults] == [
        ("my script", "modules[0].count"), ("my script", "power.peak")]
    with pytest.raises(packcalc.UnknownName, match="did you mean 'nmc-6s-240ah'"):
        packcalc.record("nmc-6s-240a")
    with pytest.raises(packcalc.UserError, match="not module notation"):
        packcalc.size_protection(brief(), "8x2")
    with pytest.raises(packcalc.UnknownName, match="unknown arrangement 'ring'"):
        packcalc.size_protection(brief(), "8S2P", arrangement="ring")
    with pytest.raises(packcalc.OutOfRange, match="module 0: the brief has 1, counted from 1"):
        packcalc.size_protection(brief(), "8S2P", module=0)
    # An arrangement alone picks the best layout of it (it was refused before), if there is one.
    with pytest.raises(packcalc.UserError, match="no layout of parallel strings is a candidate"):
        packcalc.size_protection(brief(), arrangement="strings")
    with pytest.raises(packcalc.UnknownName, match="unknown format 'pdf'"):
        packcalc.render_report(packcalc.list_layouts(brief()), "pdf")
    with pytest.raises(packcalc.UserError, match="'.docx' names no format"):
        packcalc.write_report(packcalc.list_layouts(brief()), "x.docx")
    for error in (packcalc.InputErrors, packcalc.UnknownName, packcalc.OutputError,
                  packcalc.UnitError, packcalc.OutOfRange):
        assert issubclass(error, packcalc.UserError)
    assert not issubclass(packcalc.ProgramFault, packcalc.UserError)


# -- layouts ----------------------------------------------------------------------------------


def test_layouts_as_a_table() -> None:
    frame = packcalc.layouts_frame(brief())
    study = packcalc.list_layouts(brief())
    assert isinstance(frame, pandas.DataFrame)
    assert list(frame.columns) == [column.key for column in COLUMNS]
    assert len(frame) == len(study) > 1
    assert frame["layout"].tolist() == [study.layout(i).label for i in range(len(study))]
    for column in frame:
        if column.rsplit("_", 1)[-1] in ("V", "A", "kW", "kWh", "kg"):
            assert pandas.api.types.is_float_dtype(frame[column]), column
    assert len(packcalc.layouts_frame(study, most=1)) == 1


def test_the_table_is_what_the_command_line_prints(tmp_path) -> None:
    path = tmp_path / "b.toml"
    path.write_text(GOOD, "utf-8")
    printed = json.loads(run("layouts", path, "--most", "0", "--format", "json").out)["layouts"]
    assert packcalc.layouts_frame(packcalc.read_brief(path)).to_dict("records") == printed


def test_no_layout_is_an_empty_table_with_its_columns() -> None:
    frame = packcalc.layouts_frame(brief(NONE_FITS))
    assert len(frame) == 0 and "usable_energy_kWh" in frame
    assert packcalc.list_layouts(brief(NONE_FITS)).misses


# -- protection and reports -------------------------------------------------------------------


def test_protection_of_the_best_and_of_a_named_layout() -> None:
    best = packcalc.size_protection(brief())
    assert best.layout == packcalc.list_layouts(brief()).layout(0) and not best.named
    named = packcalc.size_protection(brief(), "8S2P", arrangement="strings", module=1)
    assert (named.layout.label, named.layout.arrangement) == ("8S2P", "strings")
    assert named.miss is not None
    voltage = best.pack.loaded_voltage
    assert isinstance(voltage, Finding) and voltage.leaves()


@pytest.mark.parametrize("format_", ["text", "markdown", "html", "json", "csv"])
def test_reports_are_what_the_command_line_writes(tmp_path, format_) -> None:
    path = tmp_path / "b.toml"
    path.write_text(GOOD, "utf-8")
    study = packcalc.size_protection(packcalc.read_brief(path))
    assert packcalc.render_report(study, format_) == run("report", path, "--format", format_).out
    listed = packcalc.list_layouts(packcalc.read_brief(path))
    assert packcalc.render_report(listed, format_) == run("layouts", path, "--format", format_).out


def test_a_report_is_written_whole_or_not_at_all(tmp_path) -> None:
    study = packcalc.size_protection(brief())
    packcalc.write_report(study, tmp_path / "r.json")
    assert json.loads((tmp_path / "r.json").read_text("utf-8"))["layout"]
    packcalc.write_report(study, tmp_path / "r", "markdown")
    assert (tmp_path / "r").read_text("utf-8").startswith("# Battery pack")
    with pytest.raises(packcalc.OutputError, match="is a folder"):
        packcalc.write_report(study, tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["r", "r.json"]


# -- library and formulas ---------------------------------------------------------------------


def test_library_and_formulas() -> None:
    assert packcalc.library()["lfp-8s-100ah"] == packcalc.record("lfp-8s-100ah")
    assert packcalc.cell_classes()["NMC"].curves
    assert packcalc.formulas()["constant_power_current"].function(345.6, 0.2, 90e3) == \
        pytest.approx(319.49, abs=0.01)  # the worked example of its own docstring

"""The cell library: classes and module records from data files, one file at a time."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Callable, Mapping
from os import PathLike, fspath
from typing import Any

import cell_library
from packcalc.cells import CellClass, ChargeBand, Law, OcvCurve
from packcalc.errors import ProgramFault, UnknownName
from packcalc.findings import Origin
from packcalc.modules import ModuleType
from packcalc.reading.modules import module_from_entries, module_from_label

__all__ = ["cell_class", "classes", "check_record", "ids", "library", "module_from_entries",
           "module_from_label", "record", "record_text"]

_CHEMISTRIES = ("LFP", "LMO", "LTO", "NCA", "NMC")
_ALSO_CALLED = {"lifepo4": "LFP", "lifepo": "LFP", "life": "LFP", "lifp": "LFP", "ncm": "NMC",
                "linimncoo2": "NMC", "linicoalo2": "NCA", "limn2o4": "LMO", "limno": "LMO",
                "li4ti5o12": "LTO", "titanate": "LTO"}
# Other chemistries: the most alike of our names would be a wrong hint.
_NONE_OF_OURS = ("lco", "licoo2", "lmfp", "lnmo", "lion", "liion", "lipo", "nimh", "nicd", "naion",
                 "sib")
_A_RECORD = ("a module record needs chemistry, cells_in_series and capacity, or a label like "
             '"12s 160 Ah NMC"; `packcalc library show nmc-6s-240ah` shows the figures of one')
_ZERO_CELSIUS = 273.15


# --- classes --------------------------------------------------------------------------

def classes() -> dict[str, CellClass]:
    """Every cell class by chemistry."""
    return {name: cell_class(name) for name in _CHEMISTRIES}


def cell_class(name: str) -> CellClass:
    """The class of a chemistry, whatever its case.

    Raises:
        UnknownName: no such class.
    """
    if name.upper() not in _CHEMISTRIES:
        plain = "".join(c for c in name.lower() if c.isalnum())
        also = _ALSO_CALLED.get(plain)
        raise UnknownName("chemistry", name, (also,) if also else _CHEMISTRIES,
                          likeness=not also and plain not in _NONE_OF_OURS)
    return _load_class(name.upper())


@functools.lru_cache(maxsize=None)
def _load_class(chemistry: str) -> CellClass:
    data = tomllib.loads(cell_library.CELLS.joinpath(f"{chemistry.lower()}.toml")
                         .read_text("utf-8"))
    laws = _laws()
    charging, initial = laws["charging"], laws["initial"]
    own = {key: data[f"{key}_V"] for key in ("nominal_voltage", "full_voltage", "empty_voltage",
                                             "absolute_min_voltage", "hysteresis_half_gap",
                                             "drop_low", "drop_high")}
    window = [t + _ZERO_CELSIUS for t in data["temperature_window_degC"]]
    charge_note = f"{charging['note']}; {data['charging_note']}" if "charging_note" in data \
        else charging["note"]
    drop = (data["drop_source"], data["drop_note"])
    notes = (
        ("hysteresis_half_gap", data["hysteresis_source"], data["hysteresis_note"]),
        ("drop_low", *drop), ("drop_high", *drop),
        ("initial_ratio", initial["ratio_source"], initial["ratio_note"]),
        ("hot_ratio", initial["hot_source"], initial["hot_note"]),
        ("growth_slope", data["growth_source"], data["growth_note"]),
        ("energy_per_mass", data["source"], data["mass_note"]),
        ("charge_rate", charging["source"], charge_note))
    return CellClass(
        chemistry=data["chemistry"], title=data["title"], **own,
        rest_window=tuple(data.get("rest_window_V", (own["empty_voltage"], own["full_voltage"]))),
        curves=_curves(chemistry, data.get("curve", [])),
        temperature=_law("temperature", laws["temperature"], "degC"),
        temperature_low_charge=_law("temperature", laws["temperature_low_charge"], "degC"),
        charge=_law("charge", data["charge"], "percent"), pulse=_law("pulse", laws["pulse"], "s"),
        initial_ratio=initial["ratio"], hot_ratio=initial["hot_ratio"],
        growth_slope=data["growth_slope"], health_min=data["health_min"],
        charge_bands=tuple(_band(b) for b in charging["bands"]), charge_rate=charging["rate"],
        energy_per_mass=data["energy_per_mass_Wh_kg"] * 3600.0, temperature_min=window[0],
        temperature_max=window[1], needs_bench=data.get("needs_bench", False),
        source=data["source"], note=data["note"], notes=notes)


@functools.lru_cache(maxsize=1)
def _laws() -> dict[str, Any]:
    return tomllib.loads(cell_library.CELLS.joinpath("laws.toml").read_text("utf-8"))


def _law(name: str, data: Mapping[str, Any], unit: str) -> Law:
    convert = {"degC": lambda x: x + _ZERO_CELSIUS, "percent": lambda x: x / 100.0,
               "s": float}[unit]
    at = tuple(convert(x) for x in data[f"at_{unit}"])
    ends = (0.0, 1.0) if name == "charge" else tuple(map(convert, data[f"range_{unit}"]))
    return Law(name, at, tuple(data["low"]), tuple(data["high"]), data["source"], data["basis"],
               data["note"], *ends)


def _band(data: Mapping[str, float]) -> ChargeBand:
    return ChargeBand(data["above_degC"] + _ZERO_CELSIUS, data["up_to_degC"] + _ZERO_CELSIUS,
                      data.get("rate"))


def _curves(chemistry: str, entries: list[dict[str, str]]) -> tuple[OcvCurve, ...]:
    if not entries:
        return ()
    text = cell_library.CELLS.joinpath(f"{chemistry.lower()}-ocv.csv").read_text("utf-8")
    head, *rows = [line.split(",") for line in text.splitlines() if not line.startswith("#")]
    columns = {name: tuple(float(row[i]) for row in rows) for i, name in enumerate(head)}
    soc = tuple(x / 100.0 for x in columns.pop("soc_percent"))
    if set(columns) != {entry["key"] for entry in entries}:
        raise ProgramFault(f"curves of {chemistry} differ between class file and table")
    return tuple(OcvCurve(soc=soc, volt=columns[entry["key"]], **entry) for entry in entries)


# --- module records -------------------------------------------------------------------

@functools.lru_cache(maxsize=1)
def ids() -> tuple[str, ...]:
    """Every record of the library, sorted."""
    return tuple(sorted(p.name.removesuffix(".toml") for p in cell_library.MODULES.iterdir()
                        if p.name.endswith(".toml")))


def library() -> dict[str, ModuleType]:
    """Every module type of the library by id."""
    return {name: record(name) for name in ids()}


@functools.lru_cache(maxsize=None)
def record(name: str) -> ModuleType:
    """One module type of the library; reads its own file and its class only.

    Raises:
        UnknownName: no such record, with the nearest one.
    """
    data = tomllib.loads(record_text(name))
    return module_from_entries(data, lambda key: Origin(f"library {name}", key=key,
                                                        text=str(data.get(key, ""))[:60]))


def record_with(name: str, figures: Mapping[str, Any],
                origin_of: Callable[[str], Origin]) -> ModuleType:
    """A record with the user's own figures over it, each kept apart by basis and origin.

    Raises:
        UnknownName: no such record.
        InputErrors: every fault found in the merged figures.
    """
    data = tomllib.loads(record_text(name))
    merged = {**data, **figures}

    def origin(key: str) -> Origin:
        if key in figures:
            return origin_of(key)
        return Origin(f"library {name}", key=key, text=str(data.get(key, ""))[:60])

    return module_from_entries(merged, origin, own=frozenset(figures))


def record_text(name: str) -> str:
    """The text of one record file.

    Raises:
        UnknownName: no such record, with the nearest one.
    """
    if name not in ids():
        raise UnknownName("library record", name, ids())
    return cell_library.MODULES.joinpath(f"{name}.toml").read_text("utf-8")


def check_record(path: str | PathLike[str]) -> ModuleType:
    """Read and check a user's own record file.

    Raises:
        InputErrors: every fault found, each with file, line, key and what would be right.
    """
    return own_record(path, {}, lambda key: Origin(fspath(path), key=key))


def own_record(path: str | PathLike[str], figures: Mapping[str, Any],
               origin_of: Callable[[str], Origin]) -> ModuleType:
    """A user's own record with figures of the brief over it, each kept apart by origin.

    Raises:
        InputErrors: every fault found, each with file, line, key and what would be right.
    """
    from packcalc.reading.positions import locate, one_line, read_toml

    data, text = read_toml(path, begin=_A_RECORD)
    place = one_line(fspath(path))

    def origin(key: str) -> Origin:
        if key in figures:
            return origin_of(key)
        return Origin(place, locate(text, (key,)), key, str(data.get(key, ""))[:60])

    return module_from_entries({**data, **figures}, origin, own=frozenset(figures))

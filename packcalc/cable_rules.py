"""The rule sets that say what current a cable may carry.

No published current table exists for road-vehicle high-voltage cable. Every rule set
here was made for something else and says so wherever it is used. A rule set brings its
own current table, ambient factors and grouping factors; they are never mixed with those
of another. Copper only.
"""

from __future__ import annotations

import functools
from typing import Any

from packcalc import tables
from packcalc.conductors import awg_area, combined_factor
from packcalc.errors import OutOfRange, UnknownName
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.units import from_si
from packcalc.value import value_object

TOUCHING = 0.86  # lowest ratio of IEC F to G side by side (0.869), rounded down
_LONE = "spaced in air"
_PAIR = "touching in air"
SAME_AS = {"single in air": _LONE}
NONE, UP = "none as large", "next size up: "
OTHER = "other system, not smaller"  # the fact of a candidate in the file for review
FINEST, TABLE_BEGINS = 40, 14  # even numbers are made; from 14 AWG up the table is printed


@value_object
class CurrentTable:
    """One current table as one way of laying and one insulation class use it.

    Attributes:
        printed: table and method as the standard names them.
        install: way of laying, in our plain words.
        insulation: class of the cable [K].
        conductor: conductor temperature at the table current [K].
        base: air temperature of the table [K].
        rise: rise of the conductor at the table current [K].
        currents, ambients, grouping: names of the data tables.
        arrangement: which rows of `currents`.
        laying: factor for a pair that the table does not know, 1 where it does.
    """

    printed: str
    install: str
    insulation: float
    conductor: float
    base: float
    rise: float
    currents: str
    ambients: str
    grouping: str
    arrangement: str
    laying: float = 1.0


@value_object
class RuleSet:
    """One body of rules, never mixed with another.

    Attributes:
        key: how a brief names it.
        title: full title.
        made_for: what the tables were made for.
        conductors: data table of its sizes and resistances.
        tables: one entry for each way of laying and insulation class.
    """

    key: str
    title: str
    made_for: str
    conductors: str
    tables: tuple[CurrentTable, ...]

    @property
    def sentence(self) -> str:
        """What stands wherever the rule set is used."""
        return ("No vehicle table exists for the current that a traction cable may carry; the "
                f"table used, {self.key}, was made for {self.made_for}. The cable's own data sheet "
                "comes first.")

    @property
    def installs(self) -> tuple[str, ...]:
        """Ways of laying that this rule set knows."""
        return tuple(dict.fromkeys(t.install for t in self.tables))

    def table_for(self, install: str, insulation: float) -> CurrentTable:
        """The table of the highest class that is not above the cable's.

        Raises:
            OutOfRange: the rule set does not know the way of laying or so low a class.
        """
        laid = [t for t in self.tables if t.install == SAME_AS.get(install, install)]
        if not laid:
            others = [r.key for r in RULES.values() if install in r.installs]
            raise OutOfRange(f"{self.key} has no current table for {install!r}; it knows: "
                             f"{', '.join(self.installs)}. Rule sets that know {install!r}: "
                             f"{', '.join(others) or 'none'}")
        usable = [t for t in laid if t.insulation <= insulation + 1e-9]
        if not usable:
            lowest = min(t.insulation for t in laid)
            raise OutOfRange(
                f"{self.key} has no current table for {from_si(insulation, '°C'):.4g} °C "
                f"insulation laid {install}; its lowest class is {from_si(lowest, '°C'):.4g} °C")
        return max(usable, key=lambda t: t.insulation)


def _entry(printed: str, install: str, insulation: float, base: float, names: tuple[str, str, str],
           *, conductor: float = 0.0, rise: float = 0.0, arrangement: str = "",
           laying: float = 1.0) -> CurrentTable:
    hot = conductor or insulation
    return CurrentTable(printed, install, insulation + 273.15, hot + 273.15, base + 273.15,
                        rise or hot - base, *names, arrangement or install, laying)


_NEC_16 = ("cable_nec_310_16", "cable_nec_ambient", "cable_nec_grouping")
_NEC_17 = ("cable_nec_310_17", "cable_nec_ambient", "cable_nec_grouping")
_IEC = ("cable_iec_60364_5_52", "cable_iec_ambient", "cable_iec_grouping")
_4F2A = ("cable_bs_7671_4f2a", "cable_bs_7671_4f2a_ambient", "cable_iec_grouping")
_DIN = ("cable_din_vde_0298_4", "cable_din_vde_ambient", "cable_iec_grouping")
_CFR = ("cable_cfr_183_425", "cable_cfr_ambient", "cable_abyc_grouping")


def _nec() -> tuple[CurrentTable, ...]:
    return tuple(
        entry for c in (60.0, 75.0, 90.0) for entry in (
            _entry("Table 310.16", "conduit", c, 30.0, _NEC_16),
            _entry("Table 310.17", _LONE, c, 30.0, _NEC_17),
            _entry("Table 310.17 with a factor for touching", _PAIR, c, 30.0, _NEC_17,
                   arrangement=_LONE, laying=TOUCHING)))


def _iec() -> tuple[CurrentTable, ...]:
    named = (("conduit", "B1"), ("surface", "C"), (_PAIR, "F"), (_LONE, "G, one above the other"))
    return tuple(_entry(f"method {m}", install, 90.0, 30.0, _IEC) for install, m in named) + (
        _entry("BS 7671 Table 4F2A, 180 °C class", _PAIR, 180.0, 90.0, _4F2A, conductor=150.0),)


def _din() -> tuple[CurrentTable, ...]:
    # The same currents stand for every class; near room temperature the rise is that of
    # the 90 °C class, 40 K, so the smaller rises of the hot classes are not used.
    return tuple(
        entry for c, base in ((90.0, 50.0), (110.0, 80.0), (135.0, 95.0), (180.0, 150.0))
        for entry in (
            _entry("Table 11 column 2", _LONE, c, base, _DIN, rise=40.0),
            _entry("Table 11 column 2 with a factor for touching", _PAIR, c, base, _DIN,
                   rise=40.0, arrangement=_LONE, laying=TOUCHING)))


def _cfr() -> tuple[CurrentTable, ...]:
    return tuple(
        _entry("Table 5", install, c, 30.0, _CFR, arrangement=_PAIR)
        for c in (60.0, 75.0, 80.0, 90.0, 105.0, 125.0, 200.0) for install in (_PAIR, _LONE))


RULES: dict[str, RuleSet] = {
    rule.key: rule for rule in (
        RuleSet("NFPA 70", "NFPA 70, National Electrical Code, 2023", "building wiring",
                "conductors_awg", _nec()),
        RuleSet("IEC 60364-5-52", "IEC 60364-5-52:2009 with BS 7671 Table 4F2A",
                "fixed wiring in buildings (Table 4F2A for flexible cable)", "conductors_mm2",
                _iec()),
        RuleSet("DIN VDE 0298-4", "DIN VDE 0298-4:2013, heat-resistant cable",
                "wiring of buildings and flexible leads, heat-resistant single-core cable",
                "conductors_mm2", _din()),
        RuleSet("33 CFR 183", "33 CFR 183.425, boats", "boats (United States law)",
                "conductors_awg", _cfr()),
    )
}


def rule_set(key: str) -> RuleSet:
    """The rule set of that name.

    Raises:
        UnknownName: no such rule set.
    """
    if key not in RULES:
        raise UnknownName("cable rule set", key, RULES)
    return RULES[key]


@value_object
class Section:
    """One conductor of a table.

    Attributes:
        size: as its table names it.
        area: [m²].
        current: table current, from the current table.
        resistance: highest printed, tinned or coated copper.
        resistance_at: temperature of that resistance.
        other: nearest size of the other system that is not smaller.
    """

    size: str
    area: Finding
    current: Finding
    resistance: Finding
    resistance_at: Finding
    other: str


@functools.lru_cache(maxsize=None)
def sections(rule: RuleSet, use: CurrentTable) -> tuple[Section, ...]:
    """Every section of a current table, smallest first."""
    data = tables.table(use.currents).where(
        arrangement=use.arrangement, insulation_C=round(use.insulation - 273.15, 6))
    rows = sorted(data.rows, key=lambda row: row["area_mm2"])
    return tuple(_section(rule, data, row) for row in rows)


def _section(rule: RuleSet, data: tables.Table, row: dict[str, Any]) -> Section:
    size, area = row["size"], row["area_mm2"] * 1e-6
    conductors = tables.table(rule.conductors)
    made = next(r for r in conductors.rows if r["size"] == size)
    metric = rule.conductors == "conductors_mm2"
    column, scale, at = (("class5_tinned_ohm_per_km", 1e-3, 20.0) if metric
                         else ("coated_ohm_per_kft", 1.0 / 304.8, 75.0))
    resistance = conductors.finding(made, column, f"resistance of {size} at {at:g} °C", "r_0",
                                    "mΩ/m", made[column] * scale)
    return Section(
        size,
        conductors.finding(made, "area_mm2", f"section of {size}", "S", "mm²", area),
        data.finding(row, "current_A", f"table current of {size}", "I_t", "A", row["current_A"]),
        resistance,
        leaf("temperature of that resistance", "θ_0", "°C", at + 273.15, "read",
             source=conductors.source, origin=Origin(f"table {conductors.name}")),
        nearest_other(size, area, metric))


def nearest_other(size: str, area: float, metric: bool) -> str:
    """The nearest size of the other system that is not smaller."""
    rows = tables.table("conductors_awg" if metric else "conductors_mm2").rows
    larger = [r for r in rows if r["area_mm2"] * 1e-6 >= area]
    if not larger:
        return f"{NONE} as {size}"
    row = min(larger, key=lambda r: r["area_mm2"])
    return f"{row['size']} ({row['area_mm2']:g} mm²)" if metric else str(row["size"])


def next_gauge(area: float) -> str:
    """AWG or kcmil that is not smaller than a section in m².

    Examples:
        >>> next_gauge(185e-6), next_gauge(4e-6), next_gauge(0.5e-6)
        ('400 kcmil (202.68 mm²)', '10 AWG (5.26 mm²)', '20 AWG (0.518 mm²)')
    """
    for gauge in range(FINEST, TABLE_BEGINS, -2):
        made = float(awg_area(gauge)) * 1e6
        if made >= area * 1e6:
            return f"{gauge} AWG ({made:.3g} mm²)"
    return nearest_other(f"{area * 1e6:g} mm²", area, True)


def beside_name(name: str, other: str, said: str = "") -> str:
    """What stands in brackets beside a cable's name: as many of the other system's size.

    Args:
        name: of the cable.
        other: size that is not smaller, as `nearest_other` has it.
        said: in front.

    Examples:
        >>> beside_name("2 × 120 mm²", "250 kcmil (126.68 mm²)", "or ")
        'or 2 × 250 kcmil'
    """
    size = other.partition(" (")[0]
    return f"other system: {size}" if size.startswith(NONE) else \
        f"{said}{name.partition(' × ')[0]} × {size}"


def section_words(section: Finding) -> str:
    """A section of the brief in both systems; "" where it is not known."""
    return f"{section.shown} ({other_system(section.shown, section)})" if section.known else ""


def other_system(size: str, section: Finding) -> str:
    """What stands beside a size: mm² beside AWG and kcmil, the next up of those beside mm².

    Examples:
        >>> section = tables.table("conductors_awg").finding(
        ...     {"area_mm2": 13.3}, "area_mm2", "section", "S", "mm²", 13.3e-6)
        >>> other_system("6 AWG", section), other_system("13.3 mm²", section)
        ('13.30 mm²', 'next size up: 6 AWG, 13.3 mm²')
    """
    if "mm²" not in size:
        return section.shown
    gauge, _, area = next_gauge(section.number).rstrip(")").partition(" (")
    return f"{UP}{gauge}, {area}" if area else f"AWG/kcmil: {gauge}"


def ambient_factor(use: CurrentTable, ambient: Finding) -> Finding:
    """The table's own factor for the air temperature, rounded to the hotter row.

    Raises:
        OutOfRange: hotter than the table goes.
    """
    data = tables.table(use.ambients).where(insulation_C=round(use.insulation - 273.15, 6))
    row = data.at_or_above("ambient_C", round(float(from_si(ambient.number, "°C")), 6),
                           want="factor")
    return data.finding(row, "factor", "factor for the air temperature", "k_a", "",
                        row["factor"])


def grouping_factor(use: CurrentTable, circuits: float) -> Finding:
    """The table's own factor for neighbours, times the one for touching where it applies.

    Raises:
        OutOfRange: more circuits than the table knows, or fewer than one.
    """
    if circuits < 1:
        raise OutOfRange(f"{circuits:g} grouped circuits: count this route itself as one")
    data = tables.table(use.grouping)
    count = circuits * (2 if data.rows[0]["unit"] == "conductors" else 1)
    row = data.at_or_above("count_max", count, want="factor")
    near = data.finding(row, "factor", f"factor for {circuits:g} grouped circuits", "k_g", "",
                        row["factor"])
    if use.laying == 1.0:
        return near
    touching = leaf("factor for a touching pair", "k_t", "", use.laying, "computed",
                    source="iec-60364-5-52", note="the table is for one cable alone; lowest ratio "
                    "of touching to spaced side by side in Table B.52.12, rounded down")
    return trace(combined_factor, "factor for neighbours and touching", symbol="k_g",
                 first=near, second=touching)


def table_rise(use: CurrentTable) -> Finding:
    """Rise of the conductor at the table current, from the table's own conditions."""
    data = tables.table(use.currents)
    return leaf("rise of the conductor at the table current", "Δθ", "K", use.rise, "read",
                source=data.source, origin=Origin(f"table {data.name}"),
                note=f"{from_si(use.conductor, '°C'):.4g} °C conductor, "
                     f"{from_si(use.base, '°C'):.4g} °C air")

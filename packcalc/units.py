"""The only door between quantities with units and plain SI numbers.

Inside packcalc every number is a float in SI base units (V, A, Ω, s, m, kg, K, J, C).
A user's text is read by a strict grammar (number, optional space, unit spelling from
`packcalc.dimensions`) and never evaluated. Quantities of pint are taken as they come.
"""

from __future__ import annotations

import functools
import math
import re
import unicodedata
from typing import TYPE_CHECKING, Any

from packcalc.dimensions import BARE, DEFINITIONS, DIMENSIONS, Dimension, dimension, to_si_number
from packcalc.errors import UnitError

if TYPE_CHECKING:
    import pint

LONGEST_TEXT = 60
LARGEST = 1e12
SMALLEST = 1e-12


@functools.lru_cache(maxsize=1)
def registry() -> "pint.UnitRegistry":
    """The same units as a pint registry, for who wants quantities; built on first use."""
    import pint

    return pint.UnitRegistry(DEFINITIONS.strip().splitlines(), cache_folder=None,
                             autoconvert_offset_to_baseunit=False)


def fold(text: str) -> str:
    """Fold typographic look-alikes (Ω, µ, ², ℃, −, no-break space) to one spelling."""
    folded = unicodedata.normalize("NFKC", text)
    for odd in "\u2212\u2013\u2010\u2011":
        folded = folded.replace(odd, "-")
    return folded.strip()


# -- one quantity as text ---------------------------------------------------------------------


_NUMBER = re.compile(r"([+-]?)(\d{1,15}(?:\.\d{1,15})?)(?:[eE]([+-]?\d{1,3}))?")
_COMMA = re.compile(r"[+-]?\d+,\d+")


def parse(text: str, dim: str) -> float:
    """Read one quantity and return it in SI.

    Args:
        text: e.g. "230 Ah", "1.2 mΩ", "-20 degC", "85 %".
        dim: name of the dimension wanted.

    Returns:
        float [SI unit of the dimension].

    Raises:
        UnitError: the text is no finite number with a unit of that dimension.

    Examples:
        >>> parse("230 Ah", "charge")
        828000.0
        >>> round(parse("-20 degC", "temperature"), 2)
        253.15
        >>> parse("1.2 mohm", "resistance")
        0.0012
    """
    kind = dimension(dim)
    right = f"write it like \"{kind.example}\""
    if not isinstance(text, str):
        raise UnitError(f"{text!r:.40} is not a text with a unit; {right}")
    if len(text) > LONGEST_TEXT:
        raise UnitError(f"text of {len(text)} characters is no quantity; {right}")
    folded = fold(text)
    if _COMMA.match(folded):
        raise UnitError(f"{text!r} has a comma; write a decimal point, no thousands marks, "
                        f"like \"{kind.example}\"")
    match = _NUMBER.match(folded)
    if not match:
        raise UnitError(f"{text!r} does not begin with a number; {right}")
    spelling = folded[match.end():].strip()
    if dim not in BARE and spelling not in kind.units:
        odd = odd_character(text, _OF_UNITS)
        if odd:
            raise UnitError(f"{text!r} {odd}, which is not the plain letter of a unit; "
                            f"type the unit again")
    value = float(match.group(0))
    if not math.isfinite(value) or (value and not SMALLEST <= abs(value) <= LARGEST):
        raise UnitError(f"{text!r} is outside the numbers packcalc reads "
                        f"({SMALLEST:g} to {LARGEST:g}); {right}")
    if dim in BARE:
        if spelling:
            raise UnitError(f"{text!r} has a unit where a bare number is wanted; {right}")
        return value
    if not spelling:
        raise UnitError(f"{text!r} has no unit; {right}")
    if spelling not in kind.units:
        raise UnitError(_wrong_unit(text, spelling, kind))
    return to_si_number(value, kind.units[spelling], kind)


# A quantity that is often given in place of another, and the way from one to the other.
_WAYS = {
    ("energy", "charge"): "divide the energy by the nominal voltage: 5.3 kWh at 22 V is 241 Ah",
    ("charge", "energy"): "multiply the charge by the nominal voltage: 240 Ah at 22 V is 5.3 kWh",
    ("power", "energy"): "an energy is power times hours: 20 kW for 3 h is 60 kWh",
    ("energy", "power"): "a power is energy per hour: 60 kWh in 3 h is 20 kW",
}


def _article(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


def _wrong_unit(text: str, spelling: str, kind: Dimension) -> str:
    if spelling.startswith("."):
        return f"{text!r} has two points; write no thousands marks, like \"{kind.example}\""
    for other in DIMENSIONS.values():
        if spelling in other.units:
            way = _WAYS.get((other.name, kind.name))
            return (f"{text!r} is {_article(other.name)}, not {_article(kind.name)}; "
                    f"write it like \"{kind.example}\"" + (f" ({way})" if way else ""))
    near = [unit for unit in kind.units if unit.lower() == spelling.lower()]
    if len(near) == 1:
        return (f"{text!r}: {spelling[:20]!r} is not a unit of {kind.name}; did you mean "
                f"{printed(near[0])!r}? capital and small letters differ")
    return (f"{text!r}: {spelling[:20]!r} is not a unit of {kind.name}; write it like "
            f"\"{kind.example}\" (units: {', '.join(dict.fromkeys(map(printed, kind.units)))})")


_THOUSANDS = re.compile(r"([+-]?[1-9]\d{0,2})\.(\d{3})(?!\d)(?![eE][+-]?\d)")


def other_reading(text: object, dim: str) -> tuple[float, str] | None:
    """What a point that may mark thousands would make of a quantity, and the words that ask.

    Only one to three digits that do not begin with 0, a point and exactly three digits can
    be read both ways. Whether it is asked about is for the caller, who knows which figures are
    plausible: a meter's "3.650 V" cannot be 3650 V.

    Args:
        text: of which `parse` has read the first way.
        dim: name of the dimension.

    Returns:
        (SI value read with thousands, question in words), or None where there is one reading.

    Examples:
        >>> other_reading("110.000 W", "power")[1]
        "'110.000 W' may be 110 W or 110000 W; write 110.0 W or 110000 W"
        >>> other_reading("1.247 Ah", "charge")[1]
        "'1.247 Ah' may be 1.247 Ah or 1247 Ah; write 1.2470 Ah or 1247 Ah"
        >>> other_reading("0.125 mohm", "resistance"), other_reading("3.65 V", "voltage")
        (None, None)
    """
    if not isinstance(text, str) or len(text) > LONGEST_TEXT:
        return None
    folded = fold(text)
    match = _THOUSANDS.match(folded)
    if not match:
        return None
    whole, thousandths = match.groups()
    spelling = printed(folded[match.end():].strip())
    unit = f" {spelling}" if spelling else ""
    short = thousandths.rstrip("0")
    plain = f"{whole}.{short}" if short else whole
    clear = plain if 0 < len(short) < 3 else f"{whole}.{short or ''}0"
    words = (f"{text!r} may be {plain}{unit} or {whole}{thousandths}{unit}; "
             f"write {clear}{unit} or {whole}{thousandths}{unit}")
    return parse(f"{whole}{thousandths}{folded[match.end():]}", dim), words


# What a quantity may hold beside ASCII: letters of units, and what `fold` makes plain.
_OF_UNITS = "ΩΩμµ°√·²³℃℉\u2212\u2013\u2010\u2011\u00a0\u2007\u2009\u202f"


def odd_character(text: str, allowed: str = "") -> str:
    """The first character that only looks like what is meant, named; empty where all are plain.

    Examples:
        >>> odd_character("110 \u043aW")
        "holds '\u043a' (U+043A, cyrillic small letter ka)"
        >>> odd_character("6s 240 Ah NMC")
        ''
    """
    char = next((c for c in text if ord(c) > 127 and c not in allowed), "")
    if not char:
        return ""
    name = unicodedata.name(char, "unnamed character").lower()
    return f"holds {char!r} (U+{ord(char):04X}, {name})"


def leading_number(text: str) -> float | None:
    """The bare number that a quantity begins with, whatever its unit; None where there is none.

    Examples:
        >>> leading_number("110 mW"), leading_number("much")
        (110.0, None)
    """
    match = _NUMBER.match(fold(text)) if len(text) <= LONGEST_TEXT else None
    return float(match.group()) if match else None


# -- ranges -----------------------------------------------------------------------------------


def parse_range(text: str, dim: str) -> tuple[float, float]:
    """Read "260 V to 430 V"; the first must be below the second.

    Raises:
        UnitError: not two quantities joined by "to", or not rising.
    """
    kind = dimension(dim)
    unit = kind.example.split()[-1]
    right = f"write it like \"260 {unit} to 430 {unit}\""
    if not isinstance(text, str) or len(text) > 2 * LONGEST_TEXT:
        raise UnitError(f"{text!r:.40} is no range; {right}")
    parts = range_ends(text)
    meant = _range_meant(text, kind)
    if len(parts) != 2 or meant and _NUMBER.fullmatch(parts[0]):
        raise UnitError(f"{text!r} is no range; {meant or right}")
    low, high = (parse(part, dim) for part in parts)
    if not low < high:
        raise UnitError(f"{text!r} does not rise; {_one_unit(parts) or right}")
    return low, high


_JOINED = re.compile(
    r"(\d+(?:\.\d+)?)\s*([^\s\d.,;:/~\u2014-]*)\s*(?:-+|\.{2,}|[;:/~\u2014]|\bto\b|\band\b)"
    r"\s*(\d+(?:\.\d+)?)\s*([^\s\d.,;:/~\u2014-]+)")


def _range_meant(text: str, kind: Dimension) -> str:
    """The range that two numbers joined by a dash, by dots or with one unit for both mean."""
    match = _JOINED.fullmatch(fold(text))
    if match is None:
        return ""
    low, first, high, unit = match.groups()
    if unit not in kind.units or first not in ("", unit) or not float(low) < float(high):
        return ""
    return f"did you mean \"{low} {printed(unit)} to {high} {printed(unit)}\"?"


def _one_unit(parts: list[str]) -> str:
    """The range that was probably meant where its ends carry different units."""
    low, high = (leading_number(part) for part in parts)
    spelled = [part[match.end():].strip() for part in parts if (match := _NUMBER.match(part))]
    if low is None or high is None or not low < high or spelled[0] == spelled[1]:
        return ""
    unit = printed(spelled[0])
    return f"did you mean \"{low:.10g} {unit} to {high:.10g} {unit}\"?"


def range_ends(text: str) -> list[str]:
    """The two ends of a range as they are written; other than two where it is no range."""
    return re.split(r"\s+to\s+", fold(text))


# -- quantities of pint -----------------------------------------------------------------------


def to_si(value: Any, dim: str) -> float:
    """Take a text or a pint quantity of any registry and return SI.

    Raises:
        UnitError: wrong dimension, no unit, or not a finite number.
    """
    if isinstance(value, str):
        return parse(value, dim)
    kind = dimension(dim)
    if hasattr(value, "to") and hasattr(value, "magnitude"):
        _refuse_other_zero(value, kind)
        target = {"radian": "", "delta_kelvin": "kelvin"}.get(kind.si, kind.si)
        try:
            number = float(value.to(target).magnitude)
        except Exception as error:  # pint's own error classes differ between registries
            raise UnitError(f"{value} is not {_article(kind.name)}; give it like "
                            f"\"{kind.example}\"") from error
        if not math.isfinite(number):
            raise UnitError(f"{value} is not finite")
        return number
    if dim in (*BARE, "ratio") and isinstance(value, (int, float)) \
            and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    raise UnitError(f"{value!r:.40} has no unit; give a text like \"{kind.example}\" "
                    f"or a pint quantity")


def _refuse_other_zero(value: Any, kind: Dimension) -> None:
    """A temperature is no difference of temperatures: pint would turn either into kelvin."""
    unit = str(getattr(value, "units", ""))
    if kind.name == "temperature" and "delta_" in unit:
        raise UnitError(f"{value} is a difference of temperatures, not a temperature; give it like "
                        f"\"{kind.example}\"")
    if kind.name == "temperature difference" and "degree_" in unit and "delta_" not in unit:
        raise UnitError(f"{value} is a temperature, not a difference of temperatures; give it like "
                        f"\"{kind.example}\"")


# -- printed units ----------------------------------------------------------------------------


@functools.lru_cache(maxsize=None)
def _scale(unit: str) -> tuple[float, float]:
    """(factor, offset) with SI = (value + offset)·factor for a printed unit."""
    folded = fold(unit)
    if folded in ("", "-"):
        return 1.0, 0.0
    if folded in ("degC", "°C"):
        return 1.0, 273.15
    for kind in DIMENSIONS.values():
        if folded in kind.units and kind.name != "temperature":
            return to_si_number(1.0, kind.units[folded], kind), 0.0
    raise KeyError(f"no such unit: {unit}")


def from_si(value: Any, unit: str) -> Any:
    """SI number or array to the printed unit."""
    factor, offset = _scale(unit)
    return value / factor - offset


def into_si(value: Any, unit: str) -> Any:
    """Number or array in the printed unit to SI."""
    factor, offset = _scale(unit)
    return (value + offset) * factor


def known_unit(unit: str) -> bool:
    """Whether `unit` can be printed."""
    try:
        _scale(unit)
    except KeyError:
        return False
    return True


# What a report prints; folded spelling to printed spelling where the two differ.
_PRINTED = {"mm2": "mm²", "cm2": "cm²", "m2": "m²", "A2s": "A²s", "degC": "°C",
            "A√s/mm2": "A√s/mm²", "cal/cm2": "cal/cm²", "J/cm2": "J/cm²",
            "A/mm2": "A/mm²", "ohm/V": "Ω/V", "ohm": "Ω", "mohm": "mΩ",
            "kohm": "kΩ"}


def printed(spelling: str) -> str:
    """The spelling that a report prints for a unit."""
    return _PRINTED.get(spelling, spelling.replace("μ", "µ"))


@functools.lru_cache(maxsize=65536)
def significant(value: float, digits: int = 4) -> str:
    """Ordinary rounding to significant figures, without an exponent where readable.

    Examples:
        >>> significant(0.0959996), significant(90000.0), significant(345.6)
        ('0.09600', '90000', '345.6')
        >>> significant(0.0)
        '0'
    """
    if value is None or not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    magnitude = math.floor(math.log10(abs(value)))
    rounded = round(value, digits - 1 - magnitude)
    if rounded == 0:
        return "0"
    magnitude = math.floor(math.log10(abs(rounded)))
    if magnitude < -5 or magnitude > 6:
        return f"{rounded:.{digits - 1}e}"
    return f"{rounded:.{max(0, digits - 1 - magnitude)}f}"


def several(count: float, noun: str) -> str:
    """A count with its noun, an s behind it unless there is just one.

    Examples:
        >>> several(1, "module"), several(0, "module"), several(16.0, "good module")
        ('1 module', '0 modules', '16 good modules')
    """
    return f"{count:.0f} {noun}{'' if round(count) == 1 else 's'}"


@functools.lru_cache(maxsize=65536)
def show(value: float | None, unit: str, digits: int = 4) -> str:
    """An SI number as a report prints it, with its unit.

    Examples:
        >>> show(828000.0, "Ah"), show(253.15, "°C"), show(0.85, "%")
        ('230.0 Ah', '-20.00 °C', '85.00 %')
    """
    if value is None:
        return "–"
    # Counts are whole; four figures on them would read as a measurement.
    if unit in ("", "-"):
        whole = float(value).is_integer() and abs(value) < 1e7
        return str(int(value)) if whole else significant(value, digits)
    return f"{significant(from_si(value, unit), digits)} {printed(unit)}"

"""Which units there are, by dimension, and how many SI units each makes.

A unit's factor comes from a few definitions in pint's own words, multiplied out here, because
pint takes longer to load than all else; a test holds every factor against pint.
"""

from __future__ import annotations

import functools
import re

from packcalc.value import value_object

# In place of pint's own file, which is long to read; the test of factors reads these into pint.
DEFINITIONS = """
@defaults
    group = international
    system = mks
@end
kilo- = 1e3 = k-
mega- = 1e6 = M-
milli- = 1e-3 = m-
micro- = 1e-6 = μ-
nano- = 1e-9 = n-
centi- = 1e-2 = c-
meter = [length] = m
second = [time] = s
ampere = [current] = A
gram = [mass] = g
kelvin = [temperature]; offset: 0 = K
radian = []
degree_Celsius = kelvin; offset: 273.15 = degC
degree_Fahrenheit = 5 / 9 * kelvin; offset: 255.37222222222223 = degF
delta_kelvin = [temperature_difference]
percent = 0.01 * radian
minute = 60 * second = min
hour = 60 * minute = h
newton = kilogram * meter / second ** 2 = N
joule = newton * meter = J
calorie = 4.184 * joule = cal
watt = joule / second = W
coulomb = ampere * second = C
volt = joule / coulomb = V
ohm = volt / ampere
farad = coulomb / volt = F
henry = weber / ampere = H
weber = volt * second
ampere_hour = 3600 * coulomb = Ah
watt_hour = 3600 * joule = Wh
inch = 0.0254 * meter
foot = 0.3048 * meter
pound = 0.45359237 * kilogram
pound_force = 4.4482216152605 * newton
"""


@value_object
class Dimension:
    """One kind of quantity: its SI unit and the unit spellings that a user may write.

    Attributes:
        name: how messages call it.
        si: pint name of the unit that packcalc computes in.
        example: a right form, shown in messages.
        units: spelling (after folding look-alikes) to pint expression.
    """

    name: str
    si: str
    example: str
    units: dict[str, str]


def _kind(name: str, si: str, example: str, pairs: str) -> Dimension:
    units = dict(pair.split("=") for pair in pairs.split())
    return Dimension(name, si, example, units)


_OHMS = " ".join(
    f"{short}{word}={long}ohm"
    for short, long in (("", ""), ("m", "milli"), ("μ", "micro"), ("u", "micro"),
                        ("k", "kilo"), ("M", "mega"))
    for word in ("Ω", "ohm", "Ohm")
)
DIMENSIONS: dict[str, Dimension] = {
    d.name: d
    for d in (
        _kind("voltage", "volt", "400 V", "V=volt mV=millivolt kV=kilovolt"),
        _kind("current", "ampere", "250 A", "A=ampere mA=milliampere kA=kiloampere"),
        _kind("charge", "coulomb", "230 Ah", "Ah=ampere_hour mAh=milliampere_hour"),
        _kind("energy", "joule", "60 kWh",
              "J=joule kJ=kilojoule MJ=megajoule Wh=watt_hour kWh=kilowatt_hour"),
        _kind("power", "watt", "120 kW", "W=watt kW=kilowatt MW=megawatt mW=milliwatt"),
        _kind("resistance", "ohm", "1.2 mΩ", _OHMS),
        _kind("resistance per length", "ohm/meter", "0.386 mΩ/m",
              "mΩ/m=milliohm/meter Ω/km=milliohm/meter mohm/m=milliohm/meter "
              "ohm/km=milliohm/meter Ω/m=ohm/meter ohm/m=ohm/meter"),
        _kind("resistance per voltage", "ohm/volt", "500 Ω/V", "Ω/V=ohm/volt ohm/V=ohm/volt"),
        _kind("capacitance", "farad", "1.0 mF",
              "F=farad mF=millifarad μF=microfarad uF=microfarad nF=nanofarad"),
        _kind("inductance", "henry", "10 µH",
              "H=henry mH=millihenry μH=microhenry uH=microhenry nH=nanohenry"),
        _kind("time", "second", "10 s", "s=second ms=millisecond μs=microsecond us=microsecond "
              "min=minute h=hour"),
        _kind("length", "meter", "3.5 m",
              "m=meter mm=millimeter cm=centimeter ft=foot in=inch"),
        _kind("area", "meter**2", "70 mm²", "mm2=millimeter**2 cm2=centimeter**2 m2=meter**2"),
        _kind("mass", "kilogram", "420 kg", "kg=kilogram g=gram lb=pound"),
        _kind("torque", "newton*meter", "9.0 N·m",
              "N·m=newton*meter Nm=newton*meter lbf·in=pound_force*inch lbf·ft=pound_force*foot"),
        _kind("temperature", "kelvin", "-20 degC",
              "degC=degree_Celsius °C=degree_Celsius degF=degree_Fahrenheit "
              "°F=degree_Fahrenheit"),
        _kind("temperature difference", "delta_kelvin", "15 K", "K=delta_kelvin"),
        _kind("ratio", "radian", "85 %", "%=percent"),
        _kind("number", "radian", "1.25", ""),
        _kind("count", "radian", "16", ""),
        _kind("let-through", "ampere**2*second", "120000 A²s",
              "A2s=ampere**2*second"),
        _kind("adiabatic constant", "ampere*second**0.5/meter**2", "143 A√s/mm²",
              "A√s/mm2=ampere*second**0.5/millimeter**2"),
        _kind("incident energy", "joule/meter**2", "1.2 cal/cm²",
              "cal/cm2=calorie/centimeter**2 J/cm2=joule/centimeter**2"),
        _kind("energy per mass", "joule/kilogram", "150 Wh/kg", "Wh/kg=watt_hour/kilogram"),
        _kind("current density", "ampere/meter**2", "1.3 A/mm²",
              "A/mm2=ampere/millimeter**2"),
        _kind("rate", "second**-1", "0.5 1/h", "1/h=hour**-1"),
        _kind("slope", "volt/second", "2 V/s", "V/s=volt/second"),
        _kind("conductance", "ohm**-1", "5 S", "S=ohm**-1 mS=kiloohm**-1"),
        _kind("inductance per length", "henry/meter", "0.7 µH/m",
              "μH/m=microhenry/meter uH/m=microhenry/meter"),
    )
}

BARE = ("number", "count")  # dimensions whose quantities carry no unit


def dimension(name: str) -> Dimension:
    """The dimension of that name."""
    return DIMENSIONS[name]


@functools.lru_cache(maxsize=1)
def _definitions() -> dict[str, tuple[str, float]]:
    """Unit or prefix to its expression and offset; base units have an empty expression."""
    found = {}
    for line in DEFINITIONS.strip().splitlines():
        name, defined, rest = line.partition(" = ")
        if defined and not name.startswith(" "):
            expression, _, offset = rest.split(" = ")[0].partition("; offset: ")
            base = expression.startswith("[")
            found[name] = "" if base else expression, float(offset or 0.0)
    return found


_TERM = re.compile(r"([*/])([a-z_A-Z]+|[\d.e]+)(?:\*\*(-?[\d.]+))?")


@functools.lru_cache(maxsize=None)
def _factor(expression: str) -> float:
    """How many SI units an expression of our own (never of a user) makes."""
    product = 1.0
    for sign, word, power in _TERM.findall("*" + expression.replace(" ", "")):
        value = _unit_factor(word) if word[0].isalpha() else float(word)
        value = value ** float(power) if power else value
        product = product * value if sign == "*" else product / value
    return product


def _unit_factor(name: str) -> float:
    known = _definitions()
    if name == "gram":  # the one base of the definitions that is not the SI unit itself
        return 1e-3
    if name in known:
        return _factor(known[name][0]) if known[name][0] else 1.0
    prefix = next(p for p in known if p.endswith("-") and name.startswith(p[:-1]))
    return float(known[prefix][0]) * _unit_factor(name[len(prefix) - 1:])


def to_si_number(value: float, unit: str, kind: Dimension) -> float:
    """Convert a number in a unit of our definitions to the SI unit of its dimension."""
    if unit == kind.si:
        return float(value)
    offset = _definitions()[unit][1] if unit in _definitions() else 0.0
    return float(value * _factor(unit) + offset)

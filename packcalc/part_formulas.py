"""Small sums that turn a line of a data sheet into a figure that a duty can be held against."""

from __future__ import annotations

from packcalc.findings import formula


@formula(title="resistance behind a power loss", symbol="R", unit="mΩ", text="R = 1000·P/I²",
         inputs={"power": "P [W] lost in the part", "current": "I [A] at which it is lost"},
         basis="definition", valid="I above 0",
         safe_side="hot resistance of a loaded part: higher than when cold")
def loss_resistance(power, current):
    """What a stated loss at a stated current says of the resistance.

    Examples:
        >>> round(loss_resistance(42.0, 400.0) * 1e3, 4)
        0.2625
    """
    return power / current ** 2


@formula(title="voltage drop in closed contacts", symbol="ΔU", unit="V", text="ΔU = n·I·R/1000",
         inputs={"contacts": "n [] contacts one behind the other",
                 "current": "I [A] through them all", "resistance": "R [mΩ] of one closed contact"},
         basis="definition")
def contacts_drop(contacts, current, resistance):
    """What contacts in the main path take from the voltage at the inverter.

    Examples:
        >>> round(contacts_drop(2, 300.0, 0.2e-3), 3)
        0.12
    """
    return contacts * current * resistance


@formula(title="resistance of closed contacts", symbol="R_c", unit="mΩ", text="R_c = n·R",
         inputs={"contacts": "n [] contacts one behind the other",
                 "resistance": "R [mΩ] of one closed contact"},
         basis="definition")
def contacts_resistance(contacts, resistance):
    """What contacts add to the resistance of the path.

    Examples:
        >>> round(contacts_resistance(2, 0.2e-3), 7)
        0.0004
    """
    return contacts * resistance


@formula(title="time constant of the energy of a breaking test, at a lower voltage", symbol="T",
         unit="ms", text="T = T_t·U_t/U",
         inputs={"tested": "T_t [ms] of the breaking test", "rated": "U_t [V] of that test",
                 "voltage": "U [V] for which a longer one is permitted"},
         basis="assumed", source="packcalc-rule",
         where="a contact that broke L·I²/2 = T·U·I/2 at U_t breaks no less at a lower voltage",
         valid="U above 0 and not above U_t; the same current",
         safe_side="low: at a lower voltage an arc ends sooner")
def same_energy_constant(tested, rated, voltage):
    """How far a permitted time constant counts beside a test: no more energy than that broke.

    Examples:
        >>> round(same_energy_constant(1.5e-3, 500.0, 60.0) * 1e3, 3)
        12.5
    """
    return tested * rated / voltage


@formula(title="pre-arcing I²t asked for many equal pulses", symbol="I²t_p", unit="A²s",
         text="I²t_p = 100·I²t/p",
         inputs={"integral": "I²t [A²s] of one pulse",
                 "share": "p [%] of the pre-arcing I²t that so many pulses may reach"},
         basis="definition", valid="p above 0", safe_side="largest pulse, smallest share")
def pulse_integral_demand(integral, share):
    """How much pre-arcing I²t a fuse needs to outlive its pulses.

    Examples:
        >>> round(pulse_integral_demand(110.0, 0.22), 3)
        500.0
    """
    return integral / share


@formula(title="voltage to spare at the end of the peak", symbol="U_s", unit="V",
         text="U_s = U − U_d",
         inputs={"loaded": "U [V] at the inverter, loaded, at the end of the peak",
                 "demanded": "U_d [V] that the inverter needs for it"},
         basis="definition", safe_side="cold, aged and nearly empty: the lowest U")
def spare_voltage(loaded, demanded):
    """What parts that are counted nowhere may still take.

    Examples:
        >>> spare_voltage(289.0, 270.0)
        19.0
    """
    return loaded - demanded


@formula(title="share of the voltage to spare", symbol="U_1", unit="V", text="U_1 = U_s/n",
         inputs={"spare": "U_s [V] to spare", "parts": "n [] parts that take from it alike"},
         basis="definition")
def equal_share(spare, parts):
    """What each of several parts may take where nothing is said of the others.

    Examples:
        >>> equal_share(13.0, 2)
        6.5
    """
    return spare / parts


@formula(title="voltage to spare beside another part", symbol="U_1", unit="V",
         text="U_1 = U_s − ΔU",
         inputs={"spare": "U_s [V] to spare", "drop": "ΔU [V] in the contacts of the other"},
         basis="definition")
def spare_beside(spare, drop):
    """What another part leaves of the voltage to spare.

    Examples:
        >>> spare_beside(13.0, 3.5)
        9.5
    """
    return spare - drop


@formula(title="conventional fusing factor of a link", symbol="k2", unit="", text="k2 = I2/In",
         inputs={"fusing": "I2 [A] conventional fusing current", "rated": "In [A] rated current"},
         basis="definition", valid="full-range links")
def fusing_factor(fusing, rated):
    """By how much an overload must exceed the rating before the link surely opens in its time.

    Examples:
        >>> fusing_factor(640.0, 400.0)
        1.6
    """
    return fusing / rated


@formula(title="conventional fusing current of a link", symbol="I2", unit="A", text="I2 = k2·In",
         inputs={"factor": "k2 [] conventional fusing factor", "rated": "In [A] rated current"},
         basis="definition", valid="full-range links")
def fusing_current(factor, rated):
    """Overload at which the link surely opens in its conventional time, an hour or more.

    Examples:
        >>> fusing_current(1.6, 400.0)
        640.0
    """
    return factor * rated


@formula(title="Time constant of a loop", symbol="T", unit="ms", text="T = L/R",
         inputs={"inductance": "L [µH] loop", "resistance": "R [mΩ] loop"},
         basis="definition", safe_side="largest L, lowest R")
def loop_time_constant(inductance, resistance):
    """L over R of the circuit that a contact breaks.

    Examples:
        >>> round(loop_time_constant(10e-6, 0.06), 9)
        0.000166667
    """
    return inductance / resistance

"""Record a battery-physics library's answers for `test_cell_under_load.py`.

Not part of the test run. In an environment with pybamm and packcalc on the path:

    PYBAMM_DISABLE_TELEMETRY=true python tests/oracle/record_cell_under_load.py

It writes `cell_under_load.json` beside this file, with the library's version.
"""

from __future__ import annotations

import json
from pathlib import Path

import pybamm

PARAMETERS = "Chen2020"
CAPACITY_AH = 5.0
CHARGES = (0.03, 0.075, 0.125, 0.225, 0.375, 0.525, 0.675, 0.825, 0.925, 0.975)
CASES = ((0.5, 20.0), (0.5, 40.0), (0.2, 20.0), (0.2, 40.0))


def rest_voltage(values: pybamm.ParameterValues, soc: float) -> float:
    """Full-cell equilibrium voltage between the set's cut-offs."""
    x, y = pybamm.lithium_ion.get_initial_stoichiometries(soc, values)
    positive = values.evaluate(values["Positive electrode OCP [V]"](pybamm.Scalar(y)))
    negative = values.evaluate(values["Negative electrode OCP [V]"](pybamm.Scalar(x)))
    return float(positive - negative)


def pulse(values: pybamm.ParameterValues, soc: float, step: str) -> tuple[float, float]:
    """Voltage and current at the end of a 10 s step."""
    experiment = pybamm.Experiment([pybamm.step.string(step, period="0.1 seconds")])
    simulation = pybamm.Simulation(pybamm.lithium_ion.DFN(), parameter_values=values,
                                   experiment=experiment)
    solution = simulation.solve(initial_soc=soc)
    return (float(solution["Voltage [V]"].entries[-1]), float(solution["Current [A]"].entries[-1]))


def main() -> None:
    values = pybamm.ParameterValues(PARAMETERS)
    record = {"library": "pybamm", "version": pybamm.__version__, "model": "DFN",
              "parameters": PARAMETERS, "capacity_Ah": CAPACITY_AH,
              "rest": [{"soc": z, "voltage_V": rest_voltage(values, z)} for z in CHARGES],
              "pulses": []}
    for soc, power in CASES:
        rest = rest_voltage(values, soc)
        volt, current = pulse(values, soc, f"Discharge at {CAPACITY_AH} A for 10 seconds")
        loaded, drawn = pulse(values, soc, f"Discharge at {power} W for 10 seconds")
        record["pulses"].append({
            "soc": soc, "power_W": power, "rest_V": rest, "resistance_ohm": (rest - volt) / current,
            "loaded_V": loaded, "current_A": drawn})
    Path(__file__).with_name("cell_under_load.json").write_text(
        json.dumps(record, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

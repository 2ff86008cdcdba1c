"""Rise of a bus under constant braking power, against a SPICE engine and an integrator.

Recorded with ngspice 39: 0.8 mF at 408 V fed with 30 kW, as a current of power over voltage.
Where ngspice is installed the netlist is run again and must give the recorded values.
"""

import re
import shutil
import subprocess

import numpy as np
import pytest

from packcalc.protect.overvoltage import fed_voltage, time_at_power

NETLIST = """load dump
b1 0 bus i=30k/v(bus)
c1 bus 0 0.8m ic=408
.tran 0.2u 2m 0 0.2u uic
.control
run
meas tran v1 find v(bus) at=100u
meas tran v2 find v(bus) at=500u
meas tran v3 find v(bus) at=1900u
meas tran t1 when v(bus)=450
quit
.endc
.end
"""
TIMES = (100e-6, 500e-6, 1900e-6)
RECORDED_VOLTS = (417.0899, 451.6237, 555.8453)
RECORDED_TIME = 480.48e-6


def run(tmp_path):
    path = tmp_path / "dump.cir"
    path.write_text(NETLIST)
    done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True,
                          timeout=60, check=False)
    return {name: float(value) for name, value in re.findall(
        r"^(\w\d)\s*=\s*([-+0-9.eE]+)", done.stdout, re.MULTILINE)}


@pytest.mark.oracle
def test_rise_equals_the_recorded_run():
    assert fed_voltage(408.0, 30e3, np.array(TIMES), 0.8e-3) == pytest.approx(
        RECORDED_VOLTS, rel=1e-4)  # the engine's own default accuracy is 1e-3
    assert time_at_power(0.8e-3, 408.0, 450.0, 30e3) == pytest.approx(RECORDED_TIME, rel=1e-3)


@pytest.mark.oracle
@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_the_recorded_run_can_be_repeated(tmp_path):
    found = run(tmp_path)
    assert [found[name] for name in ("v1", "v2", "v3")] == pytest.approx(RECORDED_VOLTS, rel=1e-4)
    assert found["t1"] == pytest.approx(RECORDED_TIME, rel=1e-3)


@pytest.mark.oracle
def test_rise_equals_numerical_integration():
    integrate = pytest.importorskip("scipy.integrate")  # scipy solve_ivp, RK45
    for start, power, capacitance in ((408.0, 30e3, 0.8e-3), (150.0, 5e3, 3e-3), (820.0, 9e4, 5e-4)):
        found = integrate.solve_ivp(lambda _, v: power / (capacitance * v), (0.0, 2e-3), [start],
                                    t_eval=[2e-3], rtol=1e-10, atol=1e-9)
        assert fed_voltage(start, power, 2e-3, capacitance) == pytest.approx(
            found.y[0, -1], rel=1e-8)

"""Short-circuit rise with inductance, against a SPICE engine.

Recorded with ngspice 39: 400 V, 0.1 Ω, 20 µH (τ = 0.2 ms) closed at t = 0. Where ngspice
is installed the netlist is run again and must give the recorded values.
"""

import re
import shutil
import subprocess

import pytest

from packcalc.protect.faults import fault_current_rise, prospective_fault_current

NETLIST = """fault rise
v1 a 0 dc 400
r1 a b 0.1
l1 b 0 20u ic=0
.tran 0.2u 1m 0 0.2u uic
.control
run
meas tran i1 find i(l1) at=50u
meas tran i2 find i(l1) at=200u
meas tran i3 find i(l1) at=400u
meas tran i4 find i(l1) at=990u
quit
.endc
.end
"""
TIMES = (50e-6, 200e-6, 400e-6, 990e-6)
RECORDED = (884.7969, 2528.482, 3458.659, 3971.666)


@pytest.mark.oracle
def test_rise_equals_the_recorded_run():
    prospective = prospective_fault_current(400.0, 0.1)
    for time, current in zip(TIMES, RECORDED):
        assert fault_current_rise(prospective, 20e-6 / 0.1, time) == pytest.approx(
            current, rel=1e-4)  # the engine's own default accuracy is 1e-3


@pytest.mark.oracle
@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no SPICE engine here")
def test_the_recorded_run_comes_again(tmp_path):
    netlist = tmp_path / "rise.cir"
    netlist.write_text(NETLIST)
    done = subprocess.run(["ngspice", "-b", str(netlist)], capture_output=True, text=True,
                          timeout=60)
    values = [float(v) for v in re.findall(r"^i\d\s*=\s*(\S+)", done.stdout, re.MULTILINE)]
    assert values == pytest.approx(RECORDED, rel=1e-4)

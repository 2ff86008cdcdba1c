"""A. Weng et al., Current imbalance in dissimilar parallel-connected batteries (arXiv 2310.10396).

Measured currents of an aged and a fresh cell side by side, as the authors' open repository
`current-imbalance` holds them (data/expt_c_over_4.csv, read 2026; each figure below is the mean
of ten readings, 5 s apart), and both cells' own rest voltage and resistance over the charge
(data/params_cell151805.csv, params_cell152098.csv, rows at every 0.2 to 0.5 %).
"""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.bench.sharing import Network, step_through

CHARGE = np.array([0, 0.2002, 0.4004, 0.6006, 0.8008, 1.0010, 1.5015, 2.0020, 2.5025, 3.0030,
                   3.2032]) / 100
VOLT = np.array([[2.99876, 3.02168, 3.04329, 3.06362, 3.08265, 3.10029, 3.13901, 3.17243, 3.20172,
                  3.22761, 3.23711],
                 [3.00013, 3.02084, 3.04062, 3.05946, 3.07737, 3.09426, 3.13263, 3.16667, 3.19717,
                  3.22482, 3.23521]])
OHM = np.array([[0.42183, 0.46993, 0.50210, 0.52390, 0.53731, 0.54705, 0.56587, 0.57835, 0.58806,
                 0.59684, 0.60035],
                [0.23341, 0.25855, 0.27926, 0.29605, 0.30937, 0.31847, 0.33459, 0.34380, 0.34987,
                 0.35417, 0.35537]])
REST, LOAD = 3.2257, 0.2500  # V before the load, A from then on
# Charge drawn from rest to rest over the charge that each cell's own curve gives up (computed).
AMPERE_HOURS = (1.20, 1.52)
# Seconds after load-on (middle of ten readings), share of the aged cell, terminal voltage.
MEASURED = [(22.5, 0.3556, 3.176), (232.5, 0.3918, 3.138), (597.5, 0.4308, 3.073),
            (907.5, 0.4610, 3.009)]
# The resistances are of a pulse whose length is not told; the clamp reads to 1.2 mA of 100 mA.
SHARE_WITHIN, VOLT_WITHIN = 0.03, 0.015


def _each(table):
    """Charge (networks, branches, modules) to each cell's own figure."""
    def at(charge):
        if np.ndim(charge) < 3:
            return np.interp(charge, CHARGE, table[0])
        return np.stack([np.interp(charge[:, k], CHARGE, row) for k, row in enumerate(table)], 1)
    return at


@pytest.fixture(scope="module")
def course():
    charge = np.array([np.interp(REST, volt, CHARGE) for volt in VOLT])[None, :, None]
    net = Network(np.array(AMPERE_HOURS)[None, :, None] * 3600, np.ones((1, 2, 1)), charge, 0.0,
                  _each(VOLT), _each(OHM))
    return net, step_through(net, LOAD, 940.0)


@pytest.mark.published
@pytest.mark.parametrize("seconds, share, volt", MEASURED)
def test_measured_share_of_the_aged_cell_is_followed(course, seconds, share, volt):
    net, found = course
    step = int(np.abs(found.times - seconds).argmin())
    currents = found.currents[step, 0]
    assert currents[0] / currents.sum() == pytest.approx(share, abs=SHARE_WITHIN)
    rest, ohm = (x[0] for x in net.branches(found.charges[step]))
    assert rest[0] - currents[0] * ohm[0] == pytest.approx(volt, abs=VOLT_WITHIN)


@pytest.mark.published
def test_the_aged_cell_begins_with_less_and_takes_over(course):
    # measured: 35.6 % of the current at first, 46.1 % at the end
    _, found = course
    share = found.currents[:, 0, 0] / LOAD
    assert share[-1] - share[0] == pytest.approx(0.461 - 0.356, abs=0.045)
    assert share[0] < 0.40 < share[-1] < 0.5

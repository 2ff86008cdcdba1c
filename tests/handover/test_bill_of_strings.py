"""Strings side by side with the main fuse inside each of them: as many fuses as are drawn.

The bill said one fuse for two strings. Invented changes of an invented example.
"""

from __future__ import annotations

import pytest

from packcalc.handover.bill import bill
from packcalc.handover.devices import devices_of
from tests.cases.studies import study


@pytest.mark.parametrize("stands", ["mid-pack", "one pole", "both poles"])
def test_the_bill_counts_the_main_fuses_that_have_a_tag(stands):
    found = study("minibus", path__main_fuse=stands, pack__fuse_after=4)
    line = next(line for line in bill(found) if line.key == "main_fuse")
    assert line.quantity == len(devices_of(found)["main_fuse"])
    assert line.quantity == {"one pole": 1}.get(stands, 2)

"""What nobody clears, told as that of contacts too; and three bounds that it must not be given.

A contact's check and its sheet said "not shown to be cleared" of a current that nobody clears, as
if a data sheet were missing. Entries of the invented examples are changed; figures in A and s.
"""

from __future__ import annotations

import numpy as np
import pytest

from packcalc.checks import NOT_EVALUATED
from packcalc.findings import Origin
from packcalc.part_checks.withstand import WITHSTANDS, Stretch, borne, borne_check
from packcalc.reading.parts_list import parts_from_text
from tests.cases.studies import study
from tests.cases.test_coordination_cases import check
from tests.cases.test_worse_asks_no_less_heat import MODULE, heats

pytestmark = pytest.mark.thorough

CLEARS, MAY = "where nobody clears it", "where nobody is shown to clear it"


def sheet(found, key):
    rows = next(i for i in found.items if i.key == key).specification
    return next(r.value for r in rows if r.what == "short-time withstand")


def test_a_contact_is_told_that_nobody_clears_it():
    """The links' row said "nobody clears 28060 A", the contactor's of the same place did not."""
    found = study("truck")
    told = check(found.coordination, WITHSTANDS)
    assert told.verdict == NOT_EVALUATED and "not shown to be cleared" not in told.reason
    assert "nobody clears 28060 A of 'second chassis fault" in told.reason
    assert "its points do not show that it carries that for 0.5489 s" in told.reason
    for key in ("disconnect", "connectors"):
        assert f"28060 A for 0.5489 s {CLEARS}" in sheet(found, key)
        assert MAY not in sheet(found, key)


def test_what_is_only_not_shown_is_not_called_nobodys():
    """With the charger's power open a fuse in the pre-charge wires may clear, or may not."""
    asked = sheet(study("truck", charger__power="unknown"), "charge_contactor")
    assert asked.endswith(f"{MAY}; or more") and CLEARS not in asked  # a motor may burst a fuse


@pytest.mark.parametrize(("nobody", "words"), [
    (None, MAY), (np.array([False, True]), CLEARS), (np.array([True, False]), MAY)])
def test_each_current_of_a_stretch_is_told_by_itself(nobody, words):
    (part,) = parts_from_text("kind,name,short_time\ncontactor,K,0.5 s: 2000 A; 1 s: 1000 A\n",
                              "list").parts
    at = np.array([1500.0, 2000.0])

    def stretch(current, time, nobody=None):
        return Stretch("there", current, current, time, lambda _: Origin("test"), nobody=nobody)

    found = borne([stretch(np.array([900.0]), np.array([0.9]))],
                  unshown=borne([stretch(at, np.array([1.0, 1.0]), nobody)]))
    assert found.words == f"900.0 A for 0.9000 s; 2000 A for 1.000 s {words}"
    told = borne_check(WITHSTANDS, part, found)
    assert told.verdict == NOT_EVALUATED
    assert ("nobody clears 2000 A of 'there'" in told.reason) is (words == CLEARS)
    assert ("not shown to be cleared: 2000 A for 1.000 s" in told.reason) is (words == MAY)
    counted = borne([stretch(at, np.array([1.0, 1.0]), nobody)])
    assert counted.words == "2000 A for 1.000 s" + (f" {CLEARS}" if words == CLEARS else "")


# -- what bounds nothing that nobody clears ---------------------------------------------------


def test_a_fuse_that_bursts_bounds_no_contact():
    """Its let-through by its curve alone did: 30 kA (invented) of the motor burst the main fuse."""
    found = study("van", motor__short_circuit_current="30000 A")
    assert f"26860 A for 1.000 s {CLEARS}" in found.circuit.contacts.common.words
    found = study("truck", motor__short_circuit_current="8000 A")
    assert f"28060 A for 0.5489 s {CLEARS}" in sheet(found, "charge_contactor")


def test_a_fuse_that_bursts_bounds_no_conductor():
    """The loops that it bounded were not swept, and links were a caution at 3.240e6 A²s.

    A fuse in either pole breaks 50 kA; the modules give 28 060 A and the motor 30 000 A (invented).
    """
    found = study("truck", motor__short_circuit_current="30000 A", path__main_fuse="both poles")
    for words in ("links and bus bars survive the heat", MODULE):
        told = check(found.coordination, words)
        assert told.verdict == NOT_EVALUATED and "nobody clears 28060 A" in told.reason
    assert all(h.unshown.number > 28060.0 ** 2 * 0.99 for h in found.circuit.heats
               if h.name in ("links and bus bars", "the module's own conductors"))


def test_what_a_fuse_may_clear_sooner_is_a_question():
    """360 A for 1.007 s would count as asked: the wires hide them from the cells' trip, and a fuse
    of which the power of the charger decides whether it breaks may end them sooner.
    """
    found = study("truck", charger__power="unknown")
    contacts, late = found.circuit.contacts.common, "360.0 A for 1.007 s"
    assert late not in contacts.words and late in contacts.unshown.words
    assert heats(found)["charge inlet to battery"] == pytest.approx(360.0 ** 2 * 1.0, rel=1e-4)

"""The less is known of a loop, the more is asked of what it runs through. Invented examples."""

from __future__ import annotations

import pytest

from packcalc.checks import FAIL, NOT_EVALUATED, PASS
from packcalc.report.compose import protection_document
from packcalc.report.render import render
from tests.cases.studies import study

pytestmark = pytest.mark.thorough
OPEN = {"path__string_cable_length": None}  # the truck says 0 m


def item(found, key):
    return next(i for i in found.items if i.key == key)


def asked(found, key):
    return next(r.value for r in item(found, key).specification
                if r.what.startswith("short-time withstand"))


@pytest.mark.parametrize("key", ["disconnect", "connectors"])
def test_an_open_length_asks_no_weaker_contact_of_a_supplier(key):
    # only what was shown to be cleared was asked, and an open length leaves little of that
    for span in ("3000 A for 0.5489 s", "1800 A for 1.000 s"):
        assert span in asked(study("truck"), key) and span in asked(study("truck", **OPEN), key)


def test_nor_does_it_save_a_contact_that_is_too_weak():
    for found in (study("truck"), study("truck", **OPEN)):
        part = next(c for c in item(found, "disconnect").candidates if c.name == "Port 250")
        held = next(c for c in part.checks if c.title.startswith("withstands faults"))
        assert held.verdict == FAIL and held.demand.number >= 0.5489 * 0.999


def test_a_fuse_that_is_only_not_shown_leaves_nobody_to_a_later_contactor():
    # by what is told the fuse clears in a millisecond; the trip opens after a tenth of a second
    found = study("truck", **OPEN)
    assert not [c.title for part, c in found.checks
                if part.startswith("Fault place") and c.verdict == FAIL]


@pytest.mark.parametrize("disconnect", ["Port 400", None])
def test_a_disconnect_that_nobody_named_may_hold_a_fuse(disconnect):
    found = study("truck", path__main_fuse="one pole", pack__fuse_after=0,
                  parts__mid_fuse=None, parts__disconnect=disconnect)
    place = next(p for p in found.circuit.places if p.title.startswith("across the pack"))
    # the sheet of the Port 400 says that no fuse is inside
    assert place.shown is (disconnect is not None)


def test_page_one_says_at_least_of_a_fault_current_that_may_be_more():
    found = study("truck", branch={"DC/DC converter": {"capacitance": "unknown"}})
    text = render(protection_document(found), "text").split("Fault places")[0]
    assert " ".join(text.split()).count("at least 49660 A") == 2
    fuse = next(i for i in found.items if i.key.endswith("DC/DC converter"))
    limits = next(c for r in (fuse, *fuse.candidates) for c in r.checks
                  if c.title == "Fuse limits the peak of the highest fault")
    assert limits.verdict == NOT_EVALUATED != PASS

"""What nobody spoke of: a fuse in the middle of the string, and the cable that charges.

Designed corners of the invented examples. A mid-pack fuse that may stand may melt in every loop
that passes the middle, and no sheet says what it breaks: IEC 60269-1 has a fuse break only between
the currents that its maker states. A charge cable of which nothing is said has no lowest fault:
I = U/R with R unknown.
"""

from __future__ import annotations

import tomllib

from examples.regenerate import ROOT
from packcalc.brief_keys import KEYS
from packcalc.charge_opening import FaultsBeyond
from packcalc.checks import FAIL, NOT_EVALUATED
from packcalc.findings import leaf
from packcalc.protect.branch_figures import only_at_most
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from packcalc.report.brief_report import check_document
from packcalc.value import replace
from tests.cases.studies import study

PERHAPS = "mid-pack fuse (if one stands there)"
MEETS = "overload and fault range meet, from pole to pole"
LEFT = "breaks what a trip leaves of a fault beyond it"
OPEN_MIDDLE = {"pack__fuse_after": "unknown", "parts__mid_fuse": None}
BRIEF = ROOT / "examples" / "truck" / "brief.toml"


def places(found):
    return {p.key: p for p in found.circuit.places}


def without_cable():
    """The truck with neither route nor branch of a charge cable; its contactor breaks 1600 A."""
    data = tomllib.loads(BRIEF.read_text("utf-8"))
    data["cables"]["route"] = [r for r in data["cables"]["route"] if r["carries"] != "charging"]
    data["branch"] = [b for b in data["branch"] if b["kind"] != "charger"]
    return brief_from_data(data, str(BRIEF))


# -- a fuse in the middle that nobody spoke of ---------------------------------------------------


def test_no_place_that_may_pass_a_fuse_in_the_middle_is_shown_to_be_cleared():
    found = places(study("truck", **OPEN_MIDDLE))
    # sense wires have a fuse at each cell, before anything in the middle
    assert [key for key, place in found.items() if place.shown] == ["branch.sense wires.after"]
    for key in ("terminals", "cable.battery to inverter", "branch.DC/DC converter.after",
                "chassis.second.fused_pole", "chassis.second.branch.charge cable"):
        assert PERHAPS in found[key].at_lowest.device and found[key].at_lowest.clears is None
        assert "pack.fuse_after" in found[key].remedies[0]


def test_what_nobody_ends_without_it_stays_so_and_its_current_is_the_lower_of_both():
    """A fuse of 0.5 mΩ more in the way of two leaks: as where one is known to stand there."""
    perhaps = places(study("truck", **OPEN_MIDDLE))
    stands = places(study("truck"))
    assert perhaps["box"].nobody and perhaps["chassis.second.other_pole"].nobody
    assert perhaps["chassis.second.inside"].lowest.number \
        == stands["chassis.second.inside_across"].lowest.number


def test_overloads_are_not_shown_to_be_opened_before_it_melts():
    checks = {c.title: c for c in study("truck", **OPEN_MIDDLE).coordination.item.checks}
    assert checks[MEETS].verdict == NOT_EVALUATED and PERHAPS in checks[MEETS].reason
    own = checks[f"{PERHAPS}: an overload is opened before it melts unbroken"]
    assert own.verdict == NOT_EVALUATED


def test_it_hides_no_heat_that_there_is_without_it():
    """Until the other devices have cleared, as where no fuse stands in the middle.

    At 2.7 V the resistance of the fuse that may stand there hides the last of the 3000 A that the
    contactor breaks from the cells' trip: what is hidden was left out, 2 % of the heat.
    """
    perhaps, none = (study("truck", pack__fuse_after=after, parts__mid_fuse=None,
                           management__undervoltage_trip="2.7 V") for after in ("unknown", 0))
    heats = [{h.name: h.heat.number for h in found.circuit.heats} for found in (perhaps, none)]
    assert heats[0] == heats[1]
    borne = [found.circuit.contacts.common.words for found in (perhaps, none)]
    assert borne[0] == borne[1]


def test_the_entry_says_so():
    key = next(k for k in KEYS if (k.section, k.name) == ("pack", "fuse_after"))
    assert "nobody is shown to clear" in key.consequence


# -- a charge cable that nobody spoke of ---------------------------------------------------------


def test_a_charge_cable_of_which_nothing_is_said_has_a_place_of_open_range():
    brief = without_cable()
    found = study_protection(brief, "16S1P")
    place, inlet = (places(found)[key] for key in ("chassis.second.charge_cable", "inlet"))
    assert not place.lowest.known and "cables.route" in place.lowest.note
    assert not place.shown and place.at_lowest.clears is None
    # no figure of the inlet's lowest fault errs low
    assert only_at_most(inlet.lowest) and inlet.at_lowest.clears is None
    assert found.faults.lowest.may_be_less
    asked = next(i for i in found.items if i.key == "charge_contactor")
    breaks = next(r for r in asked.specification if r.what == "breaks")
    assert breaks.value.startswith("at least ")
    (part,) = asked.candidates
    held = next(c for c in part.checks if c.title == LEFT)
    assert held.verdict == FAIL and held.demand.untold_more  # of what is known already
    text = str(check_document(brief))
    assert "no charge cable is described" in text.lower()


def test_what_is_left_of_known_places_is_the_least_while_one_is_open():
    """A contactor that breaks it all is not shown to; with no open place the figure stands."""
    most = leaf("most", "I", "A", 2475.0, "given", note="at a place")
    assert FaultsBeyond((), ()).told(most) is most
    loop = places(study("truck"))["chassis.second.branch.charge cable"].loop
    open_ = replace(loop, lowest=leaf("lowest", "I", "A", None, "given"))
    assert FaultsBeyond((loop,), ()).told(most) is most
    told = FaultsBeyond((loop, open_), ()).told(most)
    assert told.least == "at least " and told.number == 2475.0


def test_the_inlet_of_a_charger_without_a_route_is_at_the_end_of_its_branch():
    """The van's charger has wires of its own behind its tap: less flows at their end than there."""
    found = places(study("van"))
    tap, inlet = found["branch.charger.before"].lowest, found["inlet"].lowest
    assert inlet.number < tap.number and found["branch.charger.after"].lowest.number == inlet.number

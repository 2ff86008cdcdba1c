"""Connectors that nobody named, strings' loops, joined places, and what is said of open entries.

All changes of the examples are invented.
"""

from __future__ import annotations

import tomllib

import pytest

from examples.regenerate import ROOT
from packcalc.checks import CAUTION, NOT_EVALUATED, PASS
from packcalc.contacts import connector_contacts
from packcalc.decisions import named_for, put_forward
from packcalc.errors import InputErrors
from packcalc.handover.bill import bill
from packcalc.layout_findings import cables_open
from packcalc.protect.branch_figures import only_at_most
from packcalc.protect.places import clearing_without_parts
from packcalc.reading.brief_file import brief_from_data
from packcalc.reading.parts_list import parts_from_text
from packcalc.reading.template import starter_brief
from packcalc.report.blocks import item_chains
from tests.cases.studies import LAYOUTS, study
from tests.cases.test_contacts_in_the_path import FIXED, POWER, check
from tests.cases.test_one_rule_of_melting import listed

pytestmark = pytest.mark.thorough
SEES = "the undervoltage trip sees the lowest fault"
BRANCHES = "chassis.second.inside_module_branch"


def item(found, key):
    return next(i for i in found.items if i.key == key)


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def apart(found):
    """Every place with its rivals each by itself, of which the first counts."""
    return [one for p in found.circuit.places for one in (p.rivals or (p,))[:1]]


def brief(name, **parts):
    path = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    data["parts"] |= parts
    return brief_from_data(data, str(path))


@pytest.mark.parametrize("name", LAYOUTS)
def test_connectors_that_nobody_named_pass_no_lowest_fault(name):
    """They were counted with nothing, and every lowest fault passed as whole.

    Their sheet asks for no more drop than full power leaves them: the voltage holds by that.
    """
    found = study(name, parts__connector=None)
    assert "parts.connector" in cables_open(found.brief)
    assert found.faults.lowest.or_less
    stated, open_ = check(study(name), FIXED), check(found, FIXED)
    assert open_.verdict == (NOT_EVALUATED if stated.verdict == PASS else stated.verdict)
    asked = next(line for line in item(found, "connectors").specification
                 if line.what == "resistance")
    assert "in all at most" in asked.value


@pytest.mark.parametrize(("name", "entry", "part"), [
    ("truck", "connector", "Klo 500 wide"), ("minibus", "connector", "Klo 500 wide"),
    ("truck", "disconnect", "Port 400")])
def test_no_lowest_current_is_whole_that_a_stated_contact_lowers(tmp_path, name, entry, part):
    """Ahead of the cables a chafed wire counted the contacts of a named part and none unnamed."""
    changes = {part.replace(" ", "_"): {"contact_resistance": "20 mohm"}}
    bad = study(name, **{f"parts__{entry}": part, "parts__file": listed(tmp_path, **changes)})
    open_ = study(name, **{f"parts__{entry}": None})
    least = {p.loop.key: p.lowest for p in apart(bad) if p.lowest.known}
    for one in apart(open_):
        found = least.get(one.loop.key, one.lowest)
        assert only_at_most(one.lowest) or not found.known or not one.lowest.known \
            or found.number >= one.lowest.number, one.title


def test_a_brief_says_that_there_are_no_connectors():
    """There was no way to say so: "none" was looked for in the list."""
    for word in ("none", "None"):
        assert connector_contacts(brief("van", connector=word)) is None
        assert cables_open(brief("van", connector=word)) == ""
    found = study("van")
    assert "none stand in the main path" in item(found, "connectors").governing
    assert not item(found, "connectors").candidates and check(found, POWER).verdict == PASS
    assert '# connector = "none"' in starter_brief()


@pytest.mark.parametrize("name", ["van", "minibus"])
def test_no_connectors_are_bought_where_none_stand(name):
    """The bill had a line, named "none", for a builder to count and order."""
    found = study(name)
    assert "connectors" not in {line.key for line in bill(found)}
    plugs = item(found, "connectors")
    assert named_for(plugs, found.brief) == "" and put_forward(plugs, found.brief) is None
    for part in (None, "Klo 500 wide"):
        (line,) = (one for one in bill(study(name, parts__connector=part))
                   if one.key == "connectors")
        assert line.named == (part or "")


@pytest.mark.parametrize("kind", ["connector", "fuse"])
@pytest.mark.parametrize("name", ["none", "None", "NONE"])
def test_no_part_of_a_list_is_called_none(kind, name):
    """A connector of that name was taken for none at all, and its resistance was dropped."""
    with pytest.raises(InputErrors) as found:
        parts_from_text(f"kind,name\n{kind},K\n{kind},{name}\n", "list.csv")
    (fault,) = found.value.faults
    assert (fault.file, fault.line, fault.key) == ("list.csv", 3, "name")
    assert f"'{name}' is the name of no part" in str(fault)


def test_a_brief_with_such_a_list_says_it_once(tmp_path):
    """One line for one cell: the list's; it was silent."""
    rows = listed(tmp_path, Klo_500_wide={"name": "None"})
    with pytest.raises(InputErrors) as found:
        brief("truck", file=rows, connector="None")
    assert ["'None' is the name of no part" in str(f) for f in found.value.faults] == [True]


def test_without_connectors_the_disconnect_has_the_whole_spare_voltage():
    unnamed, none = (item(study("minibus", parts__connector=entry), "disconnect")
                     for entry in (None, "none"))
    half, whole = (next(c.demand for c in one.candidates[0].checks if "to spare" in c.title)
                   for one in (unnamed, none))
    assert half.number == pytest.approx(0.5 * whole.number) and not half.may_be_less


def test_a_strings_fuse_lies_in_the_loop_through_either_pole():
    """That of the other pole left it out, and its lowest current came out too high."""
    path = study("minibus").brief.path.fuse_resistance
    for key in ("other_pole", "fused_pole"):
        lowest = place(study("minibus"), f"chassis.second.{key}").loop.lowest
        assert any(node.origin is path.origin for node in lowest.walk()), key


def test_what_all_strings_pass_has_the_contacts():
    """A share of the lowest current was counted with the main fuse alone in common."""
    found = study("minibus", parts__connector="Klo 500 wide")
    contacts = found.pack.contacts
    for key in ("terminals", "cable.roof box to rear inverter"):
        common = [share.inputs[2] for share in place(found, key).loop.shares]
        assert common and all(any(node is contacts for node in one.walk()) for one in common), key


@pytest.mark.parametrize("name", ["truck", "van"])
def test_a_joined_place_names_the_remedies_of_all_that_are_not_shown(name):
    """Only those of the first loop stood there: a charger's missing fuse was not told."""
    joined = place(study(name), BRANCHES)
    for one in (p for p in joined.rivals if not p.shown):
        assert set(one.loop.remedies) <= set(joined.remedies), one.loop.rival.name
    assert len(joined.remedies) == len(set(joined.remedies))


def test_the_rating_of_a_fuse_that_nobody_named_is_the_one_asked():
    """It was called its rated current."""
    found = study("minibus", parts__string_fuse=None)
    fuse = next(d for d in place(found, "terminals").loop.devices if d.key == "string_fuse")
    words = clearing_without_parts(fuse, fuse.rating)[2]
    assert words == f"at or below the rating asked of the string fuse, {fuse.rating.shown}, it " \
        "never opens"
    named = next(d for d in place(study("minibus"), "terminals").loop.devices
                 if d.key == "string_fuse")
    assert named.rating.shown == "200.0 A"  # Talvik 200 high voltage (invented), not the asked one


@pytest.mark.parametrize("kind", ["sense", "pre-charge", "monitor"])
def test_wires_without_a_capacitor_are_counted_with_none(kind):
    """1 mF was said to be counted for them in the list of what is open."""
    data = tomllib.loads((ROOT / "examples" / "van" / "brief.toml").read_text("utf-8"))
    for branch in data["branch"]:
        branch.pop("capacitance", None)
    found = brief_from_data(data, str(ROOT / "examples" / "van" / "brief.toml"))
    told = {found.branch[int(u.dotted.split("[")[1].split("]")[0])].kind: u.key.consequence
            for u in found.unknowns if u.dotted.endswith(".capacitance")
            and u.dotted.startswith("branch")}
    assert told[kind] == "nothing is counted: such wires end in no capacitor"
    assert told["charger"].startswith("1 mF is counted")


@pytest.mark.parametrize(("name", "entry"), [
    ("truck", "contactor"), ("van", "contactor"), ("faulty", "contactor"),
    ("minibus", "string_contactor")])
def test_a_contactor_that_breaks_next_to_nothing_lets_no_trip_see_more(name, entry):
    """What it did not break was asked of no trip: a pre-charge relay made a caution a pass."""
    told = [next(c for c in item(found, "coordination").checks if c.title == SEES)
            for found in (study(name), study(name, **{f"parts__{entry}": "Lyng 20 pre-charge"}))]
    assert [c.verdict for c in told] == [CAUTION, CAUTION]
    assert "where its contactor does not break all" in told[1].reason


@pytest.mark.parametrize(("name", "key"), [("truck", "disconnect"), ("truck", "connectors"),
                                           ("minibus", "disconnect")])
def test_the_voltage_to_spare_is_worked_with_the_duty(name, key):
    """The request for data printed it, and no chain of the item's duty told how it came about."""
    found = item(study(name), key)
    asked = " ".join(r.value for r in found.specification)
    spare = next(c.finding for c in item_chains(found) if "to spare" in c.finding.title)
    assert spare.formula is not None and f"in all at most {spare.shown} at" in asked

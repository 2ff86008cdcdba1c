"""Sources of unknown current, an open DC link and parts that nobody named show nothing.

Invented examples, one entry or part left out. Each was a pass that a stated value turns into a
failure.
"""

from __future__ import annotations

import re
import tomllib

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.decisions import decisions, waiting
from packcalc.protect.places import FED_MORE
from packcalc.protection import study_protection
from packcalc.reading.brief_file import brief_from_data
from tests.cases.studies import ROOT, study

pytestmark = pytest.mark.thorough

STRINGS = ("12S2P", "strings")


def without(name, *keys, layout=(), **changed):
    """An example without some entries, section and key each, and with others changed."""
    path = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    for key in keys:
        section, _, entry = key.partition(".")
        del data[section][entry]
    for key, value in changed.items():
        section, _, entry = key.partition("__")
        data[section][entry] = value
    return study_protection(brief_from_data(data, str(path)), *layout)


def verdicts(found, word):
    return {d.id: d for d in decisions(found) if re.search(word, d.id)}


def place(found, key):
    return next(p for p in found.circuit.places if p.key == key)


def test_a_fuse_that_an_unknown_source_may_burst_is_no_pass():
    shipped = study("minibus")
    held = place(shipped, "branch.DC/DC converter.after").checks[0]
    assert held.verdict == CAUTION and FED_MORE in held.reason
    assert "spinning motor and station's output capacitors" in held.reason
    # behind the contactors no other source drives the main fuse
    assert place(shipped, "terminals").checks[0].verdict == PASS
    told = without("minibus", layout=STRINGS, station__capacitance="0.2 mF")
    assert FAIL in {c.verdict for c in place(told, "branch.DC/DC converter.after").checks}


def test_an_open_dc_link_lets_no_part_pass_on_the_voltage_it_may_rise_to():
    # 475 V with 0.5 mF counted; 0.32 mF, stated, gives 501 V, above the fuse's 500 V
    opened = without("truck", "inverter.dc_link_capacitance")
    told = without("truck", inverter__dc_link_capacitance="0.3 mF")
    title = "Rated DC voltage above the highest working voltage"
    for found, verdict in ((opened, NOT_EVALUATED), (told, FAIL)):
        fuse = next(i for i in found.items if i.key == "main_fuse")
        own = next(c for c in fuse.candidates if c.name == "Talvik 400 full range")
        assert next(c for c in own.checks if c.title == title).verdict == verdict


def test_open_braking_power_above_the_inverters_maximum_is_bounded_by_nothing():
    # 55 kW counted reach 467 V, above the 450 V that bound what is not known
    found = without("truck", "regeneration.power")
    fuse = next(i for i in found.items if i.key == "main_fuse")
    own = next(c for c in fuse.candidates if c.name == "Talvik 400 full range")
    held = next(c for c in own.checks if c.title.startswith("Rated DC voltage"))
    assert held.verdict == NOT_EVALUATED and "regeneration.power" in held.reason


def test_wires_of_a_resistor_that_nobody_named_show_nothing():
    found = without("minibus", "parts.resistor", layout=STRINGS)
    item = next(i for i in found.items if i.key == "branch.pre-charge wires")
    named = next(i for i in study("minibus").items if i.key == "branch.pre-charge wires")
    for title in ("One circuit, one current: branch and resistor",
                  "Pre-arcing I²t outlives every pre-charge"):
        assert next(c for c in named.checks if c.title == title).verdict == PASS
        held = next(c for c in item.checks if c.title == title)
        assert held.verdict == NOT_EVALUATED and "parts.resistor" in held.reason


def test_contactors_opened_untimed_show_nothing_of_a_fuse_that_nobody_named():
    for keys in (("parts.string_fuse",), ("parts.string_fuse", "parts.disconnect")):
        found = verdicts(without("minibus", *keys, layout=STRINGS), "untimed-during-a-short-inside")
        assert {d.verdict for d in found.values()} == {NOT_EVALUATED}


def test_the_line_on_which_most_checks_wait_is_that_of_the_contactor_nobody_named():
    for name, entry, layout in (("truck", "parts.contactor", ()),
                                ("minibus", "parts.string_contactor", STRINGS)):
        found = without(name, entry, layout=layout)
        assert waiting(decisions(found), found.brief)[0].entry == entry


def test_a_sensors_range_passes_by_no_fuse_that_is_not_in_the_list(tmp_path):
    rows = (ROOT / "examples" / "parts.csv").read_text("utf-8").splitlines(keepends=True)
    (tmp_path / "none.csv").write_text(
        "".join(r for r in rows if not r.startswith("fuse,")), "utf-8")
    path = ROOT / "examples" / "van" / "brief.toml"
    data = tomllib.loads(path.read_text("utf-8"))
    del data["parts"]["main_fuse"]
    for branch in data["branch"]:
        branch.pop("fuse_part", None)
    data["parts"]["file"] = str(tmp_path / "none.csv")
    found = study_protection(brief_from_data(data, str(path)))
    item = next(i for i in found.items if i.key == "management")
    own = next(c for c in item.candidates if c.name == "Vakt 8")
    held = next(c for c in own.checks if "reaches as far" in c.title)
    assert held.verdict == NOT_EVALUATED

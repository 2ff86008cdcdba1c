"""The user's own parts through the whole study: named in the brief, held, reported."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, PASS
from packcalc.decisions import CHOICE, decisions, put_forward
from packcalc.errors import InputErrors
from packcalc.handover.bill import bill
from packcalc.protect.fuse import FUSING, WITHIN_CABLE
from packcalc.protection import study_protection
from packcalc.reading.brief_file import read_brief
from packcalc.report.brief_report import check_document
from packcalc.report.compose import protection_document
from packcalc.report.parts_report import margin
from packcalc.report.render import render
from packcalc.value import replace
from tests.briefs import without_parts

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
TEXT = without_parts((EXAMPLES / "truck" / "brief.toml").read_text("utf-8")).replace(
    'coldest_closed = "-5 degC"', 'coldest_closed = "5 degC"')  # fuses alone open its lowest fault
# Of its two routes the traction cable: a chafed charge cable asks for quicker parts than these.
TEXT = re.sub(r'\[\[cables\.route\]\]\nname = "charge inlet(?:.*\n)+?(?=\n|\[)', "", TEXT)


def brief_with(folder, parts="", more=""):
    (folder / "parts.csv").write_bytes((EXAMPLES / "parts.csv").read_bytes())
    section = f"\n[parts]\nfile = \"parts.csv\"\n{parts}\n" if parts is not None else ""
    (folder / "brief.toml").write_text(TEXT + section + more, "utf-8")
    return read_brief(folder / "brief.toml")


# A named trip holds the second chassis fault, 1485 A, which no listed fuse opens in a second.
TRIP = "\n[management]\ntrip_current = \"900 A\"\ntrip_delay = \"100 ms\"\n"
CHARGE_CABLE = """
[[branch]]
name = "charge cable"
kind = "charger"
fuse_part = "Talvik 80 branch"
fuse_rating = "80 A"
fused_poles = "both"
length = "2 m"
section = "25 mm²"
insulation_class = "90 degC"
taps = "behind the contactors"
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return study_protection(brief_with(tmp_path_factory.mktemp("own"), more=TRIP))


def item(study, key):
    return next(i for i in study.items if i.key == key)


def part(study, key, name):
    return next(c for c in item(study, key).own_parts if c.name == name)


def failed(candidate):
    return {c.title for c in candidate.checks if c.verdict == FAIL}


def test_own_parts_stand_after_the_standard_ratings(study):
    for key in ("main_fuse", "contactors", "precharge", "cable.battery to inverter"):
        own = [c.own for c in item(study, key).candidates]
        assert own == sorted(own) and True in own and False in own


def test_a_fuse_too_small_for_load_and_peaks_fails_by_name(study):
    assert failed(part(study, "main_fuse", "Talvik 250 full range")) == {
        "Carries the continuous load", "Endures the peaks"}


def test_an_ac_sheet_and_a_silent_sheet_pass_nothing(study):
    mains = part(study, "main_fuse", "Brevik 315 mains")
    voltage = mains.checks[0]
    assert voltage.verdict == NOT_EVALUATED
    assert re.search(r"parts\.csv:\d+: 690\.0 V AC only", voltage.reason)
    assert not any(c.verdict == PASS and c.stage == "highest voltage" for c in mains.checks)
    said = render(check_document(study.brief), "text").replace("\n", " ")
    assert re.search(r"Brevik 315 mains: \S*parts\.csv:\d+: +690\.0 V AC only, which", said)
    thin = part(study, "contactors", "Hauk 250 thin sheet")
    assert {c.title for c in thin.checks if c.verdict == NOT_EVALUATED} >= {
        "breaks the load, discharging", "breaks the load, charging",
        "short-time withstand, closed, against the fuse"}


def test_resistors_by_the_energy_of_the_failed_charge(study):
    assert "resistor takes the failed pre-charge energy" in failed(
        part(study, "precharge", "Glo 47"))
    film = part(study, "precharge", "Tynn 220 film")
    energy = next(c for c in film.checks if "failed pre-charge energy" in c.title)
    assert energy.verdict == NOT_EVALUATED and "ask for the energy" in energy.reason


def test_a_connector_above_its_withstand_points_is_a_question(study):
    stand = next(c for c in part(study, "connectors", "Klo 350").checks if "withstands" in c.title)
    assert stand.verdict == NOT_EVALUATED and "ask for a point at" in stand.reason
    assert "carries the continuous current" in failed(part(study, "connectors", "Klo 40"))


def test_the_cables_carry_what_the_pair_lets_through(tmp_path):
    # one charge cable of which nothing is said would leave the lowest fault open, and a pair that
    # nobody names who ends it; nor would a disconnect or connectors whose contacts nobody told
    brief = brief_with(tmp_path, 'main_fuse = "Talvik 400 full range"\ncontactor = "Lyng 500"\n'
                                 'disconnect = "Port 400"\nconnector = "none"', TRIP + CHARGE_CABLE)
    # nor would a traction cable that nobody names: the lowest current of its loops is then open
    named = replace(brief.cables, route=tuple(
        replace(r, cable="Vire 185") for r in brief.cables.route))
    study = study_protection(replace(brief, cables=named))
    held = study.coordination
    assert held is not None and held.sweep.covered
    traction = next(r for r in study.routes if r.asked.name == "battery to inverter")
    assert traction.asked.let_through is held.worst_heat
    chosen = traction.chosen.candidate
    heat = next(c for c in chosen.checks if c.title == "Let-through of the fuse")
    # all that is ended; at its own far end a mid-pack fuse that none names may melt before
    assert heat.verdict == NOT_EVALUATED and heat.demand.number == held.worst_heat.number
    assert heat.figure.number >= heat.demand.number


def test_named_parts_rule_and_their_failures_are_told(tmp_path):
    study = study_protection(brief_with(
        tmp_path, 'main_fuse = "Talvik 500 full range"\ncontactor = "Rype 400 slow"\n'
        'resistor = "Glo 47"\ndisconnect = "Port 250"',
        "\n[management]\ntrip_current = \"900 A\"\ntrip_delay = \"100 ms\"\n"))
    assert study.coordination.asked.pair == "Talvik 500 full range + Rype 400 slow"
    assert all(r.asked.fuse_rating is None or r.asked.fuse_rating.number == 500.0
               for r in study.routes)
    assert study.failing
    named = next(c for c in item(study, "precharge").checks if "named in the brief" in c.title)
    assert named.verdict == FAIL and "failed pre-charge energy: fail" in named.reason
    assert "no valid pair" in item(study, "coordination").governing


def test_a_named_cable_is_the_route_s_choice(tmp_path):
    text = TEXT.replace('name = "battery to inverter"',
                        'name = "battery to inverter"\ncable = "Vire 95"')
    (tmp_path / "parts.csv").write_bytes((EXAMPLES / "parts.csv").read_bytes())
    (tmp_path / "brief.toml").write_text(text + '\n[parts]\nfile = "parts.csv"\n', "utf-8")
    study = study_protection(read_brief(tmp_path / "brief.toml"))
    route = next(r for r in study.routes if r.asked.name == "battery to inverter")
    assert route.chosen.candidate.name == "Vire 95"
    assert [c.name for c in route.item.own_parts] == ["Vire 95"]


def test_without_a_list_every_part_is_a_request_for_data(tmp_path):
    study = study_protection(brief_with(tmp_path, None))
    assert not any(i.own_parts for i in study.items)
    assert study.coordination.sweep is None
    for key in ("main_fuse", "contactors", "coordination", "disconnect", "connectors"):
        assert item(study, key).specification


def minibus(folder, named):
    (folder / "parts.csv").write_bytes((EXAMPLES / "parts.csv").read_bytes())
    text = (EXAMPLES / "minibus" / "brief.toml").read_text("utf-8")
    text = re.sub(r'^(string_contactor|connector) = .*\n', "", text, flags=re.MULTILINE)
    text = text.replace("../parts.csv", "parts.csv").replace(
        'resistor = "Glo', f'{named}resistor = "Glo')
    (folder / "brief.toml").write_text(text, "utf-8")
    return read_brief(folder / "brief.toml")


def test_string_contactors_are_held_where_the_arrangement_is_strings(tmp_path):
    brief = minibus(tmp_path, 'string_contactor = "Lyng 300 high voltage"\n')
    strings = study_protection(brief, "12S2P", "strings")
    held = item(strings, "string_contactors")
    duty = {f.title: f for f in held.duty}
    # Two strings: with one open the other carries all, p = (1 + m)/(1 + m) = 1.
    assert duty["peak current of a string, one string open"].number == pytest.approx(
        strings.pack.peak_current.number)
    named = held.checks[0]
    assert named.title == "Lyng 300 high voltage, named in the brief, meets its duty"
    low = part(strings, "string_contactors", "Lyng 300")  # 500 V under the pack's 843 V
    assert failed(low) >= {"one pole rated above the highest working voltage"}
    passed = part(strings, "string_contactors", "Lyng 300 high voltage")
    makes = next(c for c in passed.checks if "make" in c.title)
    assert makes.verdict == PASS and "string" in makes.demand.title
    assert put_forward(held, brief).name == "Lyng 300 high voltage"
    # Nothing is called named that the brief does not name: connectors have no entry.
    told = {d.item: d.shown for d in decisions(strings) if d.kind == CHOICE}
    assert told["string_contactors"] == "Lyng 300 high voltage: named in the brief"
    assert "the first of your parts in which no check fails" in told["connectors"]
    bought = {line.key: line for line in bill(strings)}  # one line: two in each of two strings
    assert bought["contactors"].named == "Lyng 300 high voltage"
    assert bought["contactors"].quantity == 4 and "string_contactors" not in bought
    grouped = study_protection(brief, "12S2P", "grouped")
    assert not [i for i in grouped.items if i.key == "string_contactors"]


def test_the_string_fuse_sets_what_a_string_contactor_must_pass(tmp_path):
    brief = minibus(tmp_path, "")
    held = item(study_protection(brief, "12S2P", "strings"), "string_contactors")
    # Talvik 200 high voltage of examples/parts.csv (invented): 30000 A²s at 900 V.
    through = next(f for f in held.duty if "clearing I²t" in f.title)
    assert through.number == 30000.0 and not held.checks


def test_an_unknown_string_contactor_is_told_with_the_nearest(tmp_path):
    with pytest.raises(InputErrors, match="parts.string_contactor.*did you mean 'Lyng 300 high"):
        minibus(tmp_path, 'string_contactor = "Lyng 300 hig voltage"\n')


def test_a_fuse_is_held_by_both_conditions_of_overload_protection(study):
    # IEC 60364-4-43, 433.1: Ib ≤ In ≤ Iz and I2 ≤ 1.45·Iz.
    for name, verdict in (("Talvik 400 full range", (PASS, CAUTION)),
                          ("Ormen 400 battery", (NOT_EVALUATED,)), ("Skarv 400 fast", ())):
        checks = [c for c in part(study, "main_fuse", name).checks if c.title == FUSING]
        assert len(checks) == bool(verdict)
        assert all(c.verdict in verdict for c in checks), name
    # I2 = 640 A by the list (invented), held against 1.45·Iz: I2 is printed, not the rating.
    talvik = next(c for c in part(study, "main_fuse", "Talvik 400 full range").checks
                  if c.title == FUSING)
    whole = next(c for c in part(study, "main_fuse", "Talvik 400 full range").checks
                 if c.title == WITHIN_CABLE)
    assert talvik.figure.number == pytest.approx(640.0)
    assert talvik.demand.number == pytest.approx(1.45 * whole.demand.number)


def test_a_cable_s_table_current_where_the_fuse_is_the_overload_device(study):
    route = next(r for r in study.routes if r.asked.name == "battery to inverter")
    duty = {f.title: f for f in route.item.duty}
    by_fuse = duty["required table current, 1 cable a pole, with the fuse as overload device"]
    # In ≤ Iz: the rating stands where the load stood, with the lower of both factors.
    load = duty["required table current, 1 cable a pole"]
    assert by_fuse.number / load.number == pytest.approx(
        route.asked.fuse_rating.number / load.inputs[0].number)


def test_what_a_sheet_says_of_resistance_is_held_against_the_brief(tmp_path):
    text = TEXT.replace('fuse_resistance = "', 'fuse_resistance = "0.05 mΩ"  # was "')
    (tmp_path / "parts.csv").write_bytes((EXAMPLES / "parts.csv").read_bytes())
    (tmp_path / "brief.toml").write_text(text + '\n[parts]\nfile = "parts.csv"\n', "utf-8")
    study = study_protection(read_brief(tmp_path / "brief.toml"))
    held = next(c for c in part(study, "main_fuse", "Talvik 400 full range").checks
                if c.title == "Resistance within what the fuse is counted with")
    # 40 W/(400 A)² = 0.25 mΩ
    assert held.figure.number == pytest.approx(0.25e-3) and held.verdict == CAUTION
    assert "path.fuse_resistance" in held.remedy


BAD = {
    "named without a list": (
        None, TEXT + '\n[parts]\nmain_fuse = "F"\n', "'F' is named without a parts list"),
    "unknown name": (
        'main_fuse = "Talvik 400 ful range"', None, "did you mean 'Talvik 400 full range'?"),
    "unknown key": ('fuse = "x"', None, "parts.fuse: unknown key"),
    "no such file": (
        None, TEXT + '\n[parts]\nfile = "pats.csv"\n', "pats.csv does not exist; did you mean"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_parts_sections(tmp_path, case):
    parts, text, words = BAD[case]
    with pytest.raises(InputErrors) as caught:
        if text is None:
            brief_with(tmp_path, parts)
        else:
            (tmp_path / "parts.csv").write_bytes((EXAMPLES / "parts.csv").read_bytes())
            (tmp_path / "brief.toml").write_text(text, "utf-8")
            read_brief(tmp_path / "brief.toml")
    assert words in str(caught.value)


def test_a_fault_of_the_list_is_told_with_its_own_file_and_row(tmp_path):
    (tmp_path / "parts.csv").write_text("kind,name,rated_current\nfuse,F,30 V\n", "utf-8")
    (tmp_path / "brief.toml").write_text(TEXT + '\n[parts]\nfile = "parts.csv"\n', "utf-8")
    with pytest.raises(InputErrors, match=r"parts.csv:2: rated_current: '30 V' is a voltage"):
        read_brief(tmp_path / "brief.toml")


def test_the_digest_follows_the_list(tmp_path):
    before = brief_with(tmp_path).digest
    parts = tmp_path / "parts.csv"
    parts.write_text(parts.read_text("utf-8").replace("Klo 40", "Klo 41"), "utf-8")
    assert read_brief(tmp_path / "brief.toml").digest != before


@pytest.mark.parametrize("fmt", ["text", "markdown", "html", "json"])
def test_every_renderer_prints_parts_spans_and_picture(study, fmt):
    page = render(protection_document(study), fmt)
    assert "Talvik 400 full range" in page
    assert "span by span" in page or "coordination_spans" in page
    assert ("<svg" in page) is (fmt == "html")


def test_margins_have_the_sign_of_the_verdict(study):
    for held in study.items:
        for candidate in held.own_parts:
            for check in candidate.checks:
                left = margin(check)
                if left is not None and check.verdict in (PASS, FAIL):
                    assert (left >= -1e-9) is (check.verdict == PASS), (candidate.name, check)

"""What a reader of build and upkeep found: strings, design stops, isolation, events, trends.

Every scenario is invented. Arithmetic of circuits (leakages side by side, dividers) is worked
beside its test: definitions, no printed source.
"""

from __future__ import annotations

import functools
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from packcalc.checks import FAIL
from packcalc.errors import InputErrors
from packcalc.handover import readings as rd
from packcalc.handover.anew import declared_anew
from packcalc.handover.build import build_sheet
from packcalc.handover.commission import design_stops, plan_of
from packcalc.handover.inside import free_links, monitors_over, open_places
from packcalc.handover.maintain import maintenance
from packcalc.handover.inside import taps_ahead
from packcalc.handover.responder import responder_sheet
from packcalc.handover.stages_strings import difference
from packcalc.handover.figures import Figures
from packcalc.protection import ProtectionStudy
from packcalc.reading.readings_file import readings_from_text
from packcalc.report.commission_report import answer, asked, commission_document
from packcalc.report.render import render
from packcalc.report.responder_report import responder_document
from tests.handover_cases import HEAD, STRINGS, WITH_LINK, readings_of, run, study_of
from tests.sized import example

pytestmark = pytest.mark.thorough

ROOT = Path(__file__).resolve().parents[2]
CELLS = 'sense_fuse = "yes"'  # of the brief of the tests: its management system
ONE_MONITOR = WITH_LINK.replace(
    CELLS, f'{CELLS}\nchannels_per_monitor = 400\nmonitor_order = "runs on, links measured"') \
    + "[pack]\nfuse_after = 0\ndisconnect_after = 0\n"
RESTARTING = ONE_MONITOR.replace("channels_per_monitor = 400", "channels_per_monitor = 12") \
    .replace("runs on, links measured", "restarts at each module")
ACROSS = ONE_MONITOR.replace("channels_per_monitor = 400", "channels_per_monitor = 30") \
    .replace("runs on, links measured", "runs on across links")
DAY = "M1,2026-01-01,2026-11-24,A. Tester,\n"


@functools.lru_cache(maxsize=None)
def text_of(text: str, command: str) -> tuple[int, str]:
    """Exit code and page of one command on a brief's text."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        brief = Path(folder) / "brief.toml"
        brief.write_text(text, "utf-8")
        ran = run(command, str(brief), "--layout", "16S1P", "--format", "text", "--quiet")
    return ran.code, " ".join(ran.out.split())


def stage_of(study: ProtectionStudy, key: str):
    return next(s for s in plan_of(study).stages if s.key == key)


def event(study: ProtectionStudy, key: str):
    return next(e for e in maintenance(study).events if e.key == key)


def said_of(one) -> str:
    return " ".join((*one.actions, one.again))


def minibus() -> ProtectionStudy:
    return example("minibus", "12S2P", "strings")


# -- strings ------------------------------------------------------------------------------------


def test_only_the_string_with_the_relay_is_started_in_full() -> None:
    steps = stage_of(minibus(), "weld").steps
    assert "no other: one full start" in steps[0] and "NEVER A FULL START" in steps[0]
    both_open, alone = steps[1], steps[2]
    assert "every contactor of every string open" in both_open and "nothing more is closed" in \
        both_open
    assert "one contactor of one string closed by itself, every other one open" in alone
    assert sum("full start" in s.lower() for s in steps) == 1
    single = stage_of(example("truck"), "weld").steps
    assert single[0].startswith("One full start") and "string" not in single[0]


def test_the_first_joining_is_a_stage_with_its_order_and_its_limits() -> None:
    keys = [s.key for s in plan_of(minibus()).stages]
    assert keys[keys.index("weld") + 1] == "join" and keys.index("join") < keys.index("charge")
    assert "join" not in [s.key for s in plan_of(example("truck")).stages]
    steps = " ".join(stage_of(minibus(), "join").steps)
    assert steps.index("largest difference") < steps.index("string that has the relay first") \
        < steps.index("its minus contactor alone") < steps.index("then its plus contactor") \
        < steps.index("Wait until") < steps.index("One stop")
    plan, allowed = plan_of(minibus()), difference(Figures(minibus()))
    assert allowed.shown in steps and "4.024 h" in steps  # settling: 5 % left, of the file
    for name in ("join.strings_differ", "join.across_open"):
        assert plan.reading(name).high.number == allowed.number
    duty = next(i for i in minibus().items if i.key == "strings").duty
    limit = next(f for f in duty if f.title == "charge limit of the receiving string")
    assert plan.reading("join.current").high is limit
    assert "onto the bus that another string holds" in " ".join(stage_of(minibus(), "pack").steps)


def test_a_needed_reading_without_its_limit_opens_no_gate() -> None:
    study = study_of(STRINGS, "16S2P", "strings")
    expected = plan_of(study).reading("join.strings_differ")
    assert not expected.edges  # cold cells bear no charge: no difference is allowed
    file = readings_of(study, f"join.strings_differ,40 V,{DAY}")
    one = rd.compare(expected, file.readings)
    assert one.verdict == rd.NO_LIMIT and not one.holds and "do not join" in one.suggests
    assert "join.strings_differ" in answer(study, file)
    stage = stage_of(study, "join")
    assert stage.stops and "no charge is allowed at a temperature" in stage.stops[0]
    assert not any("full start" in s for s in stage.steps)  # no order where nothing may be joined
    assert "no limit" in expected.band


def test_strings_are_held_to_the_difference_again_after_a_module_and_after_storage() -> None:
    allowed = difference(Figures(minibus())).shown
    for key in ("module", "storage"):
        assert f"at rest, at most {allowed}" in event(minibus(), key).again
        assert "any two, at rest" not in event(example("truck"), key).again


# -- a design that must be changed first --------------------------------------------------------


def test_a_stop_of_the_design_is_said_first_ends_with_one_and_holds_its_gate() -> None:
    study = study_of(ONE_MONITOR)
    ((title, words),) = design_stops(study)
    assert title == "Sense leads, before the string is whole" and words.startswith("STOP, design")
    for command in ("build", "commission"):
        code, page = text_of(ONE_MONITOR, command)
        assert code == 1 and words in page
        assert page.index(words) < page.index("Two people") and "OPEN" in page[:page.index(words)]
    gate = next(g for g in rd.gates(plan_of(study), ()) if g.stage.key == "sense")
    assert words in gate.why
    yes = "".join(f"{e.id},{'yes' if e.dimension == 'words' else '1 mV'},{DAY}"
                  for e in stage_of(study, "sense").expected)
    file = readings_of(study, yes)
    gate = next(g for g in rd.gates(plan_of(study), file.readings) if g.stage.key == "sense")
    assert gate.why == (words,) and answer(study, file).startswith("STOP, design: Sense leads")
    page = " ".join(render(commission_document(study, file), "text").split())
    assert "shut: STOP, design" in page


def test_a_stop_contradicts_no_later_step_and_names_what_else_could_stay_open() -> None:
    steps = " ".join(stage_of(study_of(ONE_MONITOR), "sense").steps)
    assert "closed only with every monitor plugged" not in steps
    assert "stays so until that is answered" in steps
    assert "No joint of this string lies between two monitors" in steps
    placed = study_of(ACROSS.replace("disconnect_after = 0", "disconnect_after = 8"))
    free = free_links(placed)
    assert free and 8 not in free
    assert f"behind module {', '.join(map(str, free))}: a place there" in \
        " ".join(stage_of(placed, "sense").steps)


def test_the_open_place_is_the_nearest_link_that_no_monitor_reaches_over() -> None:
    plain = study_of(RESTARTING)
    assert open_places(plain) == (8,) and not design_stops(plain)
    across = study_of(ACROSS)  # 30 channels over modules of 6 cells meet behind 5, 10 and 15
    assert free_links(across) == (5, 10, 15) and monitors_over(across, 8) == (2,)
    assert open_places(across) == (10,) and not design_stops(across)


def test_leads_over_the_place_come_out_first_on_every_page_and_only_there() -> None:
    over, apart = study_of(ONE_MONITOR), study_of(RESTARTING)
    words = "sense leads of monitor 1, which reaches over the place, out first"
    unplug = stage_of(over, "sense").steps[-1]
    assert unplug.index(words) < unplug.index("the last link") < unplug.index("other sense leads")
    for key in ("warm", "retorque"):
        parting = " ".join(stage_of(over, key).steps)
        assert parting.index(words) < parting.index("the last link, between")
        assert "sense leads of monitor" not in " ".join(stage_of(apart, key).steps)
    assert stage_of(apart, "sense").steps[-1] == \
        "To unplug later: the last link out first, then sense leads, then power links."


def test_strings_whose_voltage_tells_nothing_are_charged_full_before_they_are_joined() -> None:
    flat = study_of(FLAT, "16S2P", "strings")
    assert "join.charged_full" in plan_of(flat).dimensions
    assert "does not tell the charge" in " ".join(stage_of(flat, "join").steps)
    assert "join.charged_full" not in plan_of(minibus()).dimensions


ALLOWED_OR_NOT = {
    "flat": ("", 'coldest_closed = "5 degC"', '[strings]\nvoltage_error = "0.02 V"\n', False),
    "flat, coarse": ("", 'coldest_closed = "5 degC"', '[strings]\nvoltage_error = "5 V"\n', True),
    "cold": ("", 'coldest_closed = "-20 degC"', '[strings]\nvoltage_error = "0.02 V"\n', True)}


@pytest.mark.parametrize("case", ALLOWED_OR_NOT)
def test_the_stage_stops_where_the_report_fails_and_nowhere_else(case) -> None:
    _, closed, error, barred = ALLOWED_OR_NOT[case]
    study = study_of(FLAT.replace("[battery]", f"[battery]\n{closed}") + error, "16S2P", "strings")
    found = next(i for i in study.items if i.key == "strings")
    row = next(r.value for r in found.specification if "measured difference" in r.what)
    stage = stage_of(study, "join")
    assert bool(stage.stops) == any(c.verdict == FAIL for c in found.checks) == barred
    if barred:
        assert row.removeprefix("none: ") in stage.stops[0]
    else:
        assert plan_of(study).reading("join.strings_differ").high.shown in row
        assert "no braking before" in " ".join(stage.steps)
        assert "charged full on its own first" in event(study, "module").again


FLAT = STRINGS.replace('record = "nmc-6s-240ah"', 'label = "6s 240 Ah LFP"')


def test_a_stop_of_the_pre_charge_holds_its_gate() -> None:
    study = example("faulty", "16S1P")
    assert any(title == "The pack through the pre-charge only" for title, _ in design_stops(study))
    found = plan_of(study).reading("pack.precharge_time")
    assert found.high.number == study.brief.precharge.timeout.number
    gate = next(g for g in rd.gates(plan_of(study), ()) if g.stage.key == "pack")
    assert any(w.startswith("STOP, design") for w in gate.why)
    assert any("STOP, design" in words for words in build_sheet(study).warnings)


# -- isolation ----------------------------------------------------------------------------------


def test_what_leaves_ahead_of_the_contactors_is_measured_before_power() -> None:
    assert {"dead.isolation_ahead_positive", "dead.isolation_ahead_negative"} <= set(
        plan_of(example("truck")).dimensions)
    alone = plan_of(example("faulty", "16S1P"))
    assert "dead.isolation_ahead_positive" not in alone.dimensions
    load = alone.reading("dead.isolation_positive").low.number
    string = alone.reading("pack.isolation_positive").low.number
    whole = example("faulty", "16S1P").circuit.insulation.joined.number
    assert 1 / (1 / load + 1 / string) == pytest.approx(whole)


@pytest.mark.parametrize(("name", "strings"), [("truck", 1), ("minibus", 2)])
def test_parts_that_just_pass_alone_reach_the_demand_together(name, strings) -> None:
    study = minibus() if name == "minibus" else example(name)
    plan, whole = plan_of(study), study.circuit.insulation.joined.number
    for pole in ("positive", "negative"):
        load = plan.reading(f"dead.isolation_{pole}").low.number
        string = plan.reading(f"pack.isolation_{pole}").low.number
        ahead = f"dead.isolation_ahead_{pole}"  # nothing leaves ahead of strings' contactors
        leaks = 1 / plan.reading(ahead).low.number if name == "truck" else 0.0
        assert (ahead in plan.dimensions) == (name == "truck")
        assert 1 / (1 / load + leaks + strings / string) == pytest.approx(whole)
        again = plan.reading(f"retorque.isolation_{pole}")
        assert again.low.number == string and "contactors open" in again.title
    assert plan.reading("wheels.isolation").low.number == whole


def test_a_part_at_the_whole_demand_is_below_its_band() -> None:
    # 226 kΩ and 226 kΩ beside each other are 113 kΩ, where 225 kΩ are asked
    study = study_of()
    assert study.circuit.insulation.joined.number == pytest.approx(225e3)
    for name in ("dead.isolation_positive", "pack.isolation_negative"):
        file = readings_of(study, f"{name},226 kΩ,{DAY}")
        assert rd.compare(plan_of(study).reading(name), file.readings).verdict == rd.BELOW


@pytest.mark.parametrize(("minus", "plus", "meter"), [
    (900e3, 600e3, 10e6), (5e6, 2e6, 10e6), (450e3, 30e6, 10e6)])
def test_the_printed_rule_of_two_readings_finds_both_poles(minus, plus, meter) -> None:
    # a divider from pole to pole with the chassis in its middle, the meter across one side
    def beside(a: float, b: float) -> float:
        return a * b / (a + b)

    def shown(side: float, other: float) -> float:
        return 400.0 * side / (side + other)

    known = 225e3
    sides = {True: (minus, plus), False: (plus, minus)}
    readings = {k: shown(beside(a, meter), b) for k, (a, b) in sides.items()}
    larger = max(readings, key=readings.get)
    side, other = sides[larger]
    then = shown(beside(beside(side, meter), known), other)
    isolation = known * 400.0 * (1 / then - 1 / readings[larger])
    assert isolation == pytest.approx(min(minus, plus)) == pytest.approx(other)
    assert isolation * readings[larger] / readings[not larger] == pytest.approx(max(minus, plus))


def test_the_rule_its_source_and_the_resistors_power_stand_on_the_page() -> None:
    study = study_of()
    steps = " ".join(stage_of(study, "pack").steps)
    assert "R_i = R_o · V_b · (1/V' − 1/V) [un-r100-annex-isolation]" in steps
    watts = study.pack.highest_voltage.number ** 2 / (0.8 * 225e3)  # the least resistor
    assert f"{watts:.4g}"[:4] in steps and "± 20.00 %" in steps
    assert "monitor's leads off" in re.sub(r"\s+", " ", plan_of(study).reading(
        "dead.isolation_positive").how)
    page = " ".join(render(commission_document(study), "text").split())
    assert "{" not in page.split("Appendix")[0]


def test_a_wrong_unit_of_isolation_is_answered_with_kilohms() -> None:
    with pytest.raises(InputErrors, match='450 kΩ'):
        readings_of(study_of(), f"pack.isolation_positive,226 V,{DAY}")
    with pytest.raises(InputErrors, match='1.2 mΩ'):
        readings_of(study_of(), f"build.joint_1,226 V,{DAY}")


# -- the link -----------------------------------------------------------------------------------


def test_no_fall_to_sixty_volts_is_asked_of_a_link_that_never_stands_there() -> None:
    for study in (study_of(), example("truck"), example("van")):
        above = study.pack.full_voltage.number > 60.0
        assert ("weld.fall_time" in plan_of(study).dimensions) == above
    low = study_of(LOW, "4S1P")
    # open over-voltage chain: 60 V or more, though the full pack stands below
    assert low.pack.highest_voltage.number > 60.0 > low.pack.full_voltage.number
    assert "weld.fall_time" not in plan_of(low).dimensions
    assert "no fall to 60 V is timed" in " ".join(stage_of(low, "weld").steps)
    assert any(t.what == "weld test" for t in maintenance(low).tasks)


BARROW = '''
[[modules]]
label = "4s 200 Ah LFP"
count = 4
resistance = "2.4 mΩ"
[inverter]
voltage_range = "40 V to 60 V"
absolute_maximum = "80 V"
capacitor_rating = "100 V"
semiconductor_rating = "100 V"
overvoltage_reaction = "0.2 ms"
torque_zero_time = "60 ms"
dc_link_capacitance = "8 mF"
dc_link_tolerance = "20 %"
discharge_resistance = "1 kΩ"
[power]
peak = "3 kW"
[regeneration]
power = "1 kW"
duration = "5 s"
voltage_limit = "59 V"
follows_charge_limit = "yes"
[charger]
power = "1 kW"
voltage_range = "40 V to 59 V"
tolerance = "0.5 %"
[motor]
back_voltage = "0 V"
[pack]
disconnect_after = 0
fuse_after = 0
'''
LOW = '''
[[modules]]
label = "4s 200 Ah LFP"
count = 4
[inverter]
voltage_range = "40 V to 60 V"
absolute_maximum = "63 V"
dc_link_capacitance = "8 mF"
discharge_resistance = "1 kΩ"
[power]
peak = "3 kW"
'''


def test_the_bus_hardly_rises_with_one_pole_closed() -> None:
    for name, verdict in (("59 V", rd.ABOVE), ("4.9 V", rd.IN_BAND)):
        file = readings_of(study_of(), f"pack.first_pole,{name},{DAY}")
        assert rd.compare(plan_of(study_of()).reading("pack.first_pole"),
                          file.readings).verdict == verdict


# -- events -------------------------------------------------------------------------------------


def test_what_leaves_ahead_of_the_contactors_is_named_as_live() -> None:
    study = example("van")  # without a disconnect
    (name,) = taps_ahead(study)
    for key in ("crash", "fuse", "module"):
        ahead = said_of(event(study, key))
        assert f"whatever is switched off: {name}, insulation monitor, sense wires" in ahead
    assert "whatever is switched off" in maintenance(study).ahead
    hazards = next(h for h in responder_sheet(study).headings if h.title == "Disable hazards")
    assert f"LIVE AT ALL TIMES: {name}, insulation monitor, sense" in " ".join(hazards.known)
    parted = example("truck")
    assert "until Q1 is out" in maintenance(parted).ahead


def test_after_a_fuse_the_weld_test_waits_for_the_new_one() -> None:
    said = said_of(event(example("truck"), "fuse"))
    assert said.index("resistance across each open contact") < said.index("Replace every fuse") \
        < said.index("then the weld test")
    assert "reads 0 V too" in said


def test_a_replaced_module_passes_every_gate_that_a_new_pack_does() -> None:
    again = event(example("truck"), "module").again
    order = ("each part end to end", "every sense tap", "voltage of the whole and isolation",
             "through the pre-charge only", "weld test", "first charge attended")
    places = [again.index(words) for words in order]
    assert places == sorted(places)


def test_flood_parts_the_string_first_and_tests_at_the_packs_own_voltage() -> None:
    steps = " ".join(event(example("truck"), "flood").actions)
    assert steps.index("disconnect Q1 out") < steps.index("sense leads off")
    assert "at 500 V" in steps
    high = event(minibus(), "flood").actions[-1]
    assert minibus().pack.highest_voltage.number > 500.0
    assert f"at {minibus().pack.highest_voltage.shown} or above" in high and "500 V" not in high


def test_after_storage_the_order_of_making_whole_is_told() -> None:
    said = said_of(event(example("truck"), "storage"))
    assert "Whole again only in the order of the stage" in said and "near nothing" in said
    assert "Whole again" not in said_of(event(example("van"), "storage"))  # it was never parted


def test_the_gate_of_the_logic_claims_nothing_of_contactors_that_cannot_close_there() -> None:
    gate = stage_of(example("truck"), "logic").gate[0]
    assert "works" not in gate
    assert "plus contactors and the charge contactor, which cannot close here" in gate
    (alone,) = stage_of(example("van"), "logic").gate
    assert "the plus contactors, which cannot close here" in alone


# -- trends and baselines -----------------------------------------------------------------------

WIDE = HEAD.strip() + ",baseline\n"


def steps_of(*milliohms: float):
    rows = [f"build.joint_1,{r} mΩ,M1,2026-01-01,{2026 + n}-02-01,A,{'mended' if n else ''},"
            f"{'yes' if n else ''}\n" for n, r in enumerate(milliohms)]
    study = study_of()
    return study, readings_from_text(WIDE + "".join(rows), plan_of(study).dimensions)


@pytest.mark.parametrize(("values", "crept"), [
    ((0.030, 0.033, 0.036), False), ((0.030, 0.033, 0.0362), True),
    ((0.030, 0.034, 0.039, 0.044), True)])
def test_small_steps_that_add_up_are_told(values, crept) -> None:
    # each step within a fifth (our rule) of the one before; a fifth of the first is 0.036 mΩ
    study, file = steps_of(*values)
    last = declared_anew(plan_of(study), file.readings)[-1]
    assert not last.worse and last.crept == crept and last.first.text == "0.03 mΩ"
    assert ("worse than the first baseline" in asked(study, file)) == crept
    page = " ".join(render(commission_document(study, file), "text").split())
    assert ("Worse than the first baseline" in page) == crept


@pytest.mark.parametrize(("later", "told"), [("2026-07-01", False), ("2026-08-01", True)])
def test_a_straight_line_that_has_run_out_is_told(later, told) -> None:
    # +10 % in 100 days, limit 20 %: the line ends after another 100 days, 2026-07-20
    study = study_of()
    file = readings_of(study, "build.joint_1,0.050 mΩ,M,,2026-01-01,A,\n"
                              "build.joint_1,0.055 mΩ,M,,2026-04-11,A,\n"
                              f"build.joint_2,0.050 mΩ,M,,{later},A,\n")
    (line,) = rd.trends(plan_of(study), file.readings)
    assert line.overdue(later) == told
    assert ("read again now: build.joint_1" in asked(study, file)) == told
    page = " ".join(render(commission_document(study, file), "text").split())
    assert ("read again now: build.joint_1" in page) == told


def test_a_resistance_that_the_brief_states_is_not_called_a_strangers() -> None:
    stated = WITH_LINK.replace('count = 18', 'count = 18\nresistance = "3 mΩ"\n'
                               'resistance_pulse = "10 s"\nresistance_temperature = "25 degC"\n'
                               'resistance_charge = "50 %"')
    how = plan_of(study_of(stated)).reading("limited.pack_resistance").how
    assert "not these modules" not in how and "brief or record states" in how
    of_class = plan_of(study_of(LOW, "4S1P")).reading("limited.pack_resistance").how
    assert "which is not these modules" in of_class


def test_a_link_above_a_typical_figure_is_told_what_to_write() -> None:
    study = study_of()
    high = plan_of(study).reading("build.joint_1").high.number
    file = readings_of(study, f"build.joint_1,{1.03 * high * 1e3:.6f} mΩ,{DAY}")
    one = rd.compare(plan_of(study).reading("build.joint_1"), file.readings)
    assert one.verdict == rd.ABOVE and "path.link_resistance" in one.suggests


# -- pages --------------------------------------------------------------------------------------


def test_the_readme_shows_each_sheet_going_out_and_coming_back() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    for line in ("build mypack/brief.toml --form", "build mypack/brief.toml --as-built",
                 "commission mypack/brief.toml --form", "commission mypack/brief.toml --readings",
                 "certify mypack/brief.toml --rules", "report mypack/brief.toml --review"):
        assert f"$ packcalc {line} " in readme


@pytest.mark.browser
@pytest.mark.parametrize("study", [lambda: study_of(BARROW, "4S1P"), lambda: study_of(ONE_MONITOR),
                                   lambda: example("van"), minibus],
                         ids=["class A without a disconnect", "plain", "van", "minibus"])
def test_the_responders_sheet_prints_on_one_page(study, tmp_path) -> None:
    browser = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if browser is None:
        pytest.skip("no Chromium on the path")
    page, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_text(render(responder_document(study()), "html"), "utf-8")
    subprocess.run([browser, "--headless", "--no-sandbox", "--disable-gpu",
                    f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer",
                    f"--print-to-pdf={pdf}", page.as_uri()], check=True, timeout=60,
                   capture_output=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes())) == 1

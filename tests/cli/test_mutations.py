"""Whatever becomes of a brief on its way, the answer is a report or one line per fault."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.door import DONE, MISTAKE, NO
from tests.cli.runner import run

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = [path.read_text("utf-8") for path in sorted(ROOT.glob("examples/*/brief.toml"))]

VALUES = st.sampled_from([
    '"unknown"', '"0 V"', '"1 V to 2 V"', '"1e-12 kW"', '"1e12 W"', '"0.1 kW"', '"2000 kW"', '"0 %"',
    '"100 %"', '"60 s"', '"-20 degC"', '"60 degC"', '"12 V to 1500 V"', '"500 V to 500.1 V"', "1",
    "0", "-1", "100000", "1e308", "nan", "true", "[]", "{}", '""', '"yes"', '"lto-24s-46ah"',
    '"lmo-8s-64ah"', '"33 CFR 183"', '"NFPA 70"', '"conduit"', '"charging"', '"series"',
    '"constant power"', '"9**9**9 V"', '"1,5 kW"', '"85 \u043aW"', '"1.2 mohm"', '"400 \u2126"',
])
MUTATIONS = st.one_of(
    st.tuples(st.just("value"), st.integers(0, 99), VALUES),
    st.tuples(st.just("drop"), st.integers(0, 99), st.just("")),
    st.tuples(st.just("twice"), st.integers(0, 99), st.just("")),
    st.tuples(st.just("cut"), st.integers(0, 4000), st.just("")),
    st.tuples(st.just("insert"), st.integers(0, 4000), st.text(max_size=3)),
)


def mutated(text: str, changes: list[tuple[str, int, str]]) -> str:
    for kind, place, words in changes:
        lines = text.split("\n")
        line = place % len(lines)
        if kind == "value" and "=" in lines[line]:
            lines[line] = f"{lines[line].split('=')[0]}= {words}"
        elif kind == "drop":
            del lines[line]
        elif kind == "twice":
            lines.insert(line, lines[line])
        text = "\n".join(lines)
        if kind == "cut":
            text = text[:place]
        elif kind == "insert":
            text = text[:place] + words + text[place:]
    return text


@pytest.mark.property
@settings(max_examples=80, deadline=None)
@given(text=st.sampled_from(EXAMPLES), changes=st.lists(MUTATIONS, min_size=1, max_size=4),
       command=st.sampled_from(["check", "layouts", "protect", "report"]),
       format_=st.sampled_from(["text", "markdown", "html", "json", "csv"]))
def test_any_mutation_of_an_example_is_answered(tmp_path_factory, text, changes, command,
                                                format_) -> None:
    path = tmp_path_factory.getbasetemp() / "mutated.toml"
    path.write_text(mutated(text, changes), "utf-8", newline="", errors="replace")
    ran = run(command, path, "--format", format_)
    assert ran.code in (DONE, NO, MISTAKE), ran.err
    assert "Traceback" not in ran.err
    assert all(line and line.isprintable() for line in ran.lines)
    if ran.code == MISTAKE:
        assert ran.out == "" and ran.lines
    else:
        assert "cannot be switched off" in ran.out
        assert len(ran.lines) == ran.code

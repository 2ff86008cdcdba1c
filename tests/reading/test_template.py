"""The starter brief and the reference table cannot drift from the schema."""

from __future__ import annotations

import tomllib

import pytest

from packcalc.bench_keys import OPTIONAL_KEYS
from packcalc.brief_keys import KEYS
from packcalc.errors import OutputError
from packcalc.reading.brief_file import TOP_LEVEL, brief_from_data, read_brief
from packcalc.reading.modules import KEYS as MODULE_KEYS
from packcalc.reading.bench_template import OPTIONAL_SECTIONS
from packcalc.reading.template import (
    EXAMPLES,
    PLAIN,
    SECTIONS,
    STATED,
    describe_keys,
    starter_brief,
    write_starter,
)

CAUTIONS = ("First caution, " + "long " * 30 + "end.", "Second caution.")


def test_starter_runs_as_it_stands() -> None:
    brief = brief_from_data(tomllib.loads(starter_brief()), "brief.toml", starter_brief())
    required = {k.dotted for k in KEYS if k.required} | set(STATED)
    loads = {k.dotted for k in KEYS if k.section in ("precharge.load", "branch")}
    # what a charge contactor closes onto is asked where one is stated, and so is what a station
    # gives, what a string's sensor reads, and the section of cables that nobody said are there
    assert {u.key.dotted for u in brief.unknowns} == (
        {k.dotted for k in KEYS} - required - loads - {
            "path.charge_difference", "station.capacitance", "strings.sensor_range",
            "path.string_cable_section"}
    ) | {"modules.resistance"}
    assert "invented" in brief.title


def test_starter_gives_a_layout_at_the_first_run() -> None:
    from packcalc.study import list_layouts

    assert len(list_layouts(brief_from_data(tomllib.loads(starter_brief())))) >= 1


def test_starter_names_every_entry_with_meaning_and_where_to_find_it() -> None:
    unwrapped = " ".join(starter_brief().replace("#", " ").split()).lower()
    for key in KEYS:
        assert " ".join(key.title.lower().split()) in unwrapped
        assert " ".join(key.find.lower().split()) in unwrapped
        if key.section != "precharge.load":
            assert " ".join(key.consequence.lower().split()) in unwrapped
    for plain in PLAIN:
        assert f"{plain.name} = {plain.example}" in starter_brief()


def test_starter_with_every_example_in_place_is_a_brief() -> None:
    lines = []
    for line in starter_brief().splitlines():
        line = line.removeprefix("# ") if line.startswith("# resistance = ") else line
        name, _, rest = line.partition(' = "unknown"  # for example ')
        lines.append(f"{name} = {rest}" if rest else line)
    text = "\n".join(lines)
    brief = brief_from_data(tomllib.loads(text), "brief.toml", text)
    assert brief.unknowns == ()


def test_load_of_the_starter_works_once_its_marks_are_gone() -> None:
    head, _, load = starter_brief().partition("# [[precharge.load]]\n")
    bare = "\n".join(line[1:].strip() for line in load.splitlines())
    text = f"{head}[[precharge.load]]\n{bare}\n"
    (found,) = brief_from_data(tomllib.loads(text), "brief.toml", text).precharge.load
    assert found.kind == "constant power" and found.power.number == 30


def test_cautions_stand_near_the_head_and_lines_stay_short() -> None:
    text = starter_brief(CAUTIONS)
    head = " ".join(text.split("\ntitle =")[0].replace("#", " ").split())
    for caution in CAUTIONS:
        assert " ".join(caution.split()) in head
    assert "INVENTED" in head
    assert max(map(len, text.splitlines())) <= 100


def test_examples_and_sections_are_those_of_the_schema() -> None:
    assert list(EXAMPLES) == [key.dotted for key in KEYS]
    plain_only = {"parts"}
    assert [s for s in SECTIONS if s not in plain_only] == list(
        dict.fromkeys(key.section for key in KEYS))


def test_reference_table_holds_every_entry_once() -> None:
    lines = describe_keys()
    names = [line.dotted for line in lines]
    assert len(names) == len(set(names))
    assert {key.dotted for key in (*KEYS, *OPTIONAL_KEYS)} <= set(names)
    assert {name for name in TOP_LEVEL
            if name not in {*SECTIONS, *OPTIONAL_SECTIONS}} <= set(names)
    assert all(line.title and line.form and line.example for line in lines)
    assert all(line.unknown for line in lines if line.dotted != "precharge.load.wakes_at")
    assert {line.dotted for line in lines if line.required} == {
        key.dotted for key in KEYS if key.required}
    assert "label" in MODULE_KEYS


def test_write_starter_makes_the_folder_and_refuses_to_overwrite(tmp_path) -> None:
    folder = tmp_path / "new" / "van"
    path = write_starter(folder, CAUTIONS)
    assert path == folder / "brief.toml"
    assert path.read_text("utf-8") == starter_brief(CAUTIONS)
    assert read_brief(path).modules
    path.write_text("mine")
    with pytest.raises(OutputError, match="brief.toml: exists already; name another folder"):
        write_starter(folder)
    assert path.read_text() == "mine"


def test_write_starter_under_a_file_is_refused(tmp_path) -> None:
    (tmp_path / "file").write_text("x")
    for folder in (tmp_path / "file", tmp_path / "file" / "deeper"):
        with pytest.raises(OutputError, match="cannot be written"):
            write_starter(folder)
    assert (tmp_path / "file").read_text() == "x"


def test_a_full_disk_leaves_nothing_half_written(tmp_path, monkeypatch) -> None:
    import packcalc.reading.template as template

    real_open = template.Path.open

    def open_full(self, *args, **kwargs):
        file = real_open(self, *args, **kwargs)

        class Full:
            def __enter__(self):
                return self

            def __exit__(self, *_):
                file.close()

            def write(self, text):
                file.write(text[:100])
                raise OSError(28, "No space left on device")

        return Full()

    monkeypatch.setattr(template.Path, "open", open_full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_starter(tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("folder", ["a\0b", "x" * 5000])
def test_impossible_folder_names(tmp_path, folder: str) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_starter(tmp_path / folder)

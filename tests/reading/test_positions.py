"""Lines of entries, against an oracle that looks for the value itself in the text."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcalc.errors import InputErrors
from packcalc.reading.positions import (
    DEEPEST_KEY,
    DEEPEST_NEST,
    LARGEST_FILE,
    locate,
    parse_toml,
    positions,
    read_toml,
    shown_key,
)

SHAPES = {
    "table": ("[a]\nb = 'v1_'\n", ("a", "b"), 2),
    "header": ("\n\n[a.b]\n", ("a", "b"), 3),
    "parent of a header": ("\n\n[a.b]\n", ("a",), 3),
    "own header after its child": ("[a.b]\n[a]\n", ("a",), 2),
    "first of a list": ("[[a]]\nx = 1\n[[a]]\nx = 2\n", ("a", 0, "x"), 2),
    "second of a list": ("[[a]]\nx = 1\n[[a]]\nx = 2\n", ("a", 1, "x"), 4),
    "element itself": ("[[a]]\nx = 1\n[[a]]\nx = 2\n", ("a", 1), 3),
    "list under a list": ("[[a]]\n[[a.b]]\n[[a]]\n[[a.b]]\nx = 1\n", ("a", 1, "b", 0, "x"), 5),
    "table under a list": ("[[a]]\n[a.b]\nx = 1\n", ("a", 0, "b", "x"), 3),
    "dotted": ("a . b.c = 1\n", ("a", "b", "c"), 1),
    "quoted": ('["a.b"]\n\'c d\' = 1\n', ("a.b", "c d"), 2),
    "escaped": ('"\\u0061\\"" = 1\n', ('a"',), 1),
    "inline table": ("a = { b = 1, c.d = 2 }\n", ("a", "c", "d"), 1),
    "element of an array": ("a = [\n  1,\n  # two\n  2,\n]\n", ("a", 1), 4),
    "table in an array": ("a = [\n{ x = 1 },\n{ x = 2 },\n]\n", ("a", 1, "x"), 3),
    "after a long text": ('a = """\nb = 1\n""\\"\n"""\nb = 2\n', ("b",), 5),
    "after a long text that ends in quotes": ('a = """x\n"""""\nb = 2\n', ("b",), 3),
    "after a literal long text": ("a = '''\n'b = 1''\n'''\nb = 2\n", ("b",), 4),
    "after a comment": ("# b = 1\n\n  b = 2 # [c]\n", ("b",), 3),
    "after a date with a time": ("a = 1979-05-27 07:32:00\nb = 1\n", ("b",), 2),
    "Windows line ends": ("[a]\r\nb = 1\r\nc = 2\r\n", ("a", "c"), 3),
    "empty array": ("a = []\nb = {}\nc = 1\n", ("c",), 3),
    "absent: nearest parent": ("\n[a]\nb = 1\n", ("a", "x", "y"), 2),
    "absent altogether": ("b = 1\n", ("a",), 0),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_line_of_each_shape(shape: str) -> None:
    text, key, line = SHAPES[shape]
    tomllib.loads(text)
    assert locate(text, key) == line


# -- many generated shapes --------------------------------------------------------------------


class _Writer:
    """Writes valid TOML; every value holds a token that occurs nowhere else."""

    def __init__(self, draw: st.DrawFn):
        self.draw = draw
        self.count = 0
        self.lists: list[str] = []

    def pick(self, *options: str) -> str:
        return self.draw(st.sampled_from(options))

    def number(self) -> int:
        self.count += 1
        return self.count

    def key(self) -> str:
        n = self.number()
        return self.pick(f"k{n}", f'"q {n}.x"', f"'l#{n}'", f'"\\u0065{n}"', f"d{n}.e", f"{n}-k",
                         f'f{n} . "g=" .\th', f'"[{n}]"')

    def value(self, depth: int = 0) -> str:
        n = self.number()
        plain = (f'"v{n}_ # \\" ]"', f"'v{n}_ \\'", f'"""v{n}_\n\n[x]\nk1 = 2 ""\\"\n"""',
                 f"'''v{n}_''\n#'''", f"\"\"\"v{n}_\"\"\"\"\"", f'"v{n}_"')
        nested = ("[]", "{}", "[list]", "{table}") if depth < 3 else ()
        kind = self.pick(*plain, *nested)
        if kind == "[list]":
            return self.array(depth)
        if kind == "{table}":
            pairs = [f"{self.key()} = {self.value(depth + 1)}" for _ in range(self.size())]
            return "{ " + " , ".join(pairs) + " }"
        return kind

    def size(self) -> int:
        return self.draw(st.integers(1, 3))

    def array(self, depth: int) -> str:
        gap = self.pick("", " ", "\n", " # , ] \n", "\n\n\t")
        items = [f"{gap}{self.value(depth + 1)}{gap}" for _ in range(self.size())]
        return "[" + ",".join(items) + self.pick("", ",") + gap + "]"

    def header(self) -> str:
        n = self.number()
        old = [name for name in self.lists for _ in range(2)]
        kind = self.pick("[t]", "[[new]]", *old)
        if kind == "[t]":
            parent = self.pick("", *(f"{name}." for name in self.lists))
            last = self.pick("u", '"w w"')
            return f"[{parent}t{n}.{last}]"
        if kind == "[[new]]":
            name = self.pick("", *(f"{old}." for old in self.lists[:1])) + f"a{n}"
            if "." not in name:
                self.lists.append(name)
            return f"[[{name}]]"
        return f"[[{kind}]]"

    def document(self) -> str:
        parts = []
        for _ in range(self.draw(st.integers(1, 12))):
            kind = self.pick("entry", "entry", "entry", "header", "blank", "comment")
            parts.append({"entry": lambda: f"{self.key()} = {self.value()}",
                          "header": self.header, "blank": lambda: "  ",
                          "comment": lambda: "# k = [ \"\"\""}[kind]())
            parts[-1] += self.pick("", " ", " # note")
        text = "\n".join(parts) + self.pick("", "\n")
        return text.replace("\n", self.pick("\n", "\r\n"))


@st.composite
def documents(draw: st.DrawFn) -> str:
    return _Writer(draw).document()


def _leaves(value: object, path: tuple = ()) -> Iterator[tuple[tuple, str]]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _leaves(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _leaves(item, (*path, index))
    else:
        yield path, str(value)


@pytest.mark.property
@settings(max_examples=400, deadline=None)
@given(documents())
def test_every_line_is_that_of_the_value_itself(text: str) -> None:
    data = tomllib.loads(text)
    for path, value in _leaves(data):
        token = value.split("_")[0] + "_"
        assert locate(text, path) == text.count("\n", 0, text.index(token)) + 1, (path, text)
    assert positions(text).duplicates == ()
    assert positions(text).stopped is None


@pytest.mark.property
@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="ab=.[]{}\"'\\\n# ,1", max_size=40))
def test_whatever_the_parser_takes_the_scanner_takes(text: str) -> None:
    try:
        tomllib.loads(text)
    except ValueError:
        with pytest.raises(InputErrors):
            parse_toml(text, "f")
        return
    assert positions(text).stopped is None
    assert positions(text).duplicates == ()
    assert positions(text).refusal is None


# -- bounds, on and just above ----------------------------------------------------------------


def test_depth_of_keys_is_bounded() -> None:
    on = ".".join("a" * DEEPEST_KEY) + " = 1"
    assert parse_toml(on, "f")
    with pytest.raises(InputErrors, match=f"f:1: a key of more than {DEEPEST_KEY} parts"):
        parse_toml("a." + on, "f")


def test_nesting_is_bounded() -> None:
    on = "a = " + "[" * DEEPEST_NEST + "]" * DEEPEST_NEST
    assert parse_toml(on, "f")
    above = "\na = [" + "[" * DEEPEST_NEST + "]" * DEEPEST_NEST + "]"
    with pytest.raises(InputErrors, match=f"f:2: values nested more than {DEEPEST_NEST} deep"):
        parse_toml(above, "f")


def test_bare_values_are_bounded() -> None:
    assert parse_toml("a = " + "1" * 100, "f")
    with pytest.raises(InputErrors, match="f:1: a bare value of 101 characters"):
        parse_toml("a = " + "1" * 101, "f")


def test_size_is_bounded(tmp_path) -> None:
    file = tmp_path / "brief.toml"
    body = 'a = "' + "x" * (LARGEST_FILE - 6) + '"'
    file.write_text(body)
    assert file.stat().st_size == LARGEST_FILE
    assert len(read_toml(file)[0]["a"]) == LARGEST_FILE - 6
    file.write_text(body + "\n")
    with pytest.raises(InputErrors, match=f"holds {LARGEST_FILE + 1} bytes"):
        read_toml(file)


def test_keys_are_shown_on_one_line() -> None:
    assert shown_key(("cables", "route", 0, "length")) == "cables.route[0].length"
    assert "\n" not in shown_key(("a\nb", "\x1b[31m"))
    assert len(shown_key(("x" * 5000,))) < 100


def test_text_comes_back_with_plain_line_ends_and_no_mark(tmp_path) -> None:
    file = tmp_path / "brief.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 2\r\n")
    assert read_toml(file) == ({"a": 1, "b": 2}, "a = 1\nb = 2\n")

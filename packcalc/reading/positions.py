"""TOML files read with bounds, and the line on which each entry stands.

`tomllib` keeps no positions. A small scanner walks the text once and maps each key to its
line; it runs before `tomllib` and also refuses what would cost that parser unbounded time
(keys of thousands of parts, arrays nested without end, numbers of thousands of digits).
"""

from __future__ import annotations

import errno
import functools
import os
import re
import stat
import tomllib
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path

from packcalc.errors import Fault, InputErrors, nearest
from packcalc.value import value_object

LARGEST_FILE = 1_000_000
DEEPEST_KEY = 20
DEEPEST_NEST = 40
LONGEST_TOKEN = 100
MOST_NAMES = 2000
LONGEST_SHOWN = 60
A_BRIEF = "`packcalc new FOLDER` writes a brief to start from"

KeyPath = tuple[str | int, ...]


def read_text(path: str | os.PathLike[str], largest: int = LARGEST_FILE,
              begin: str = A_BRIEF) -> str:
    """Read a text file with plain line ends and no byte-order mark.

    Args:
        path: of the file.
        largest: bytes that are read; more are refused.
        begin: what begins such a file, told where it is empty.

    Raises:
        InputErrors: the file cannot be read, is no text, or is too large.
    """
    place = one_line(os.fspath(path))
    return _decode(_read_bytes(Path(path), place, largest), place, begin)


def read_toml(path: str | os.PathLike[str], begin: str = A_BRIEF) -> tuple[dict, str]:
    """Read a TOML file: its data, and its text with plain line ends and no byte-order mark.

    Args:
        path: of the file.
        begin: what begins such a file, told where it is empty.

    Raises:
        InputErrors: the file cannot be read, is no text, is too large, or is no valid TOML.
    """
    place = one_line(os.fspath(path))
    text = _decode(_read_bytes(Path(path), place), place, begin)
    return parse_toml(text, place), text


def parse_toml(text: str, place: str) -> dict:
    """Parse TOML; `place` names its file in every fault.

    Raises:
        InputErrors: too large, beyond the bounds of a hand-written file, or no valid TOML.
    """
    if len(text) > LARGEST_FILE:
        raise _whole(place, *_too_large(len(text), "characters"))
    found = positions(text)
    if found.refusal:
        line, wrong, right = found.refusal
        raise InputErrors([Fault(place, line, "", wrong, right)])
    try:
        return tomllib.loads(text)
    except ValueError as error:
        raise InputErrors(_syntax_faults(str(error), found, place, text)) from error
    except RecursionError as error:
        raise _whole(place, "is nested too deep", "a brief has no need of it") from error


def one_line(words: str, longest: int = 300) -> str:
    """Words without control characters, so that a message stays on one line."""
    clean = words[:longest]
    if not clean.isprintable():
        clean = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in clean)
    return clean if len(words) <= longest else clean + "…"


# -- the file ---------------------------------------------------------------------------------


def _whole(place: str, wrong: str, right: str = "") -> InputErrors:
    return InputErrors([Fault(place, 0, "", wrong, right)])


def _too_large(size: int, unit: str, largest: int = LARGEST_FILE) -> tuple[str, str]:
    return (f"holds {size} {unit}, more than the {largest} that are read",
            "a brief or record is a few thousand; is this the right file?")


def _read_bytes(path: Path, place: str, largest: int = LARGEST_FILE) -> bytes:
    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise _whole(place, "is a folder, not a file", _names_in(path, "name a file in it"))
        if not stat.S_ISREG(state.st_mode):
            raise _whole(place, "is not a regular file", "name a text file")
        if state.st_size > largest:
            raise _whole(place, *_too_large(state.st_size, "bytes", largest))
        with path.open("rb") as file:
            data = file.read(largest + 1)
    except (OSError, ValueError) as error:
        raise _whole(place, *_why_unreadable(path, error)) from error
    if len(data) > largest:
        raise _whole(place, *_too_large(len(data), "bytes or more", largest))
    return data


def _why_unreadable(path: Path, error: OSError | ValueError) -> tuple[str, str]:
    if isinstance(error, FileNotFoundError):
        if not path.parent.is_dir():
            return "does not exist, nor does its folder", "check the spelling of the path"
        return "does not exist", _names_in(path.parent, "check the name", like=path.name)
    if isinstance(error, PermissionError):
        return "may not be read: no permission", "ask its owner, or copy it to your own folder"
    if isinstance(error, OSError) and error.errno == errno.ENOTDIR:
        return "does not exist: part of its path is a file", "check the spelling of the path"
    reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return f"cannot be read ({reason})", "check the name"


def _names_in(folder: Path, otherwise: str, like: str = "brief.toml") -> str:
    try:
        with os.scandir(folder) as entries:
            ending = Path(like).suffix or ".toml"
            names = [e.name for e, _ in zip(entries, range(MOST_NAMES)) if e.name.endswith(ending)]
    except OSError:
        return otherwise
    near = nearest(like, sorted(names)) or (names[0] if len(names) == 1 else "")
    return f"did you mean {one_line(str(folder / near))!r}?" if near else otherwise


def _decode(data: bytes, place: str, begin: str = A_BRIEF) -> str:
    if not data.strip(b" \t\r\n\xef\xbb\xbf"):
        raise _whole(place, "is empty", begin)
    zero = data.find(b"\0")
    if zero >= 0:
        raise _whole(place, f"is no text file: byte 0 at offset {zero}", "save it as UTF-8 text")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        byte = data[error.start]
        raise InputErrors([Fault(place, line, "", f"is not UTF-8 text: byte 0x{byte:02X} at offset "
                                 f"{error.start}", "save it as UTF-8 text")]) from error
    return text.replace("\r\n", "\n")


# -- faults of syntax -------------------------------------------------------------------------

_AT_LINE = re.compile(r"^(.*) \(at line (\d+), column (\d+)\)$", re.DOTALL)
_QUOTES = "a quantity or word stands in quotation marks, like peak = \"120 kW\""
_HINTS = (
    ("Expected newline or end of document after a statement", _QUOTES),
    ("Invalid value", _QUOTES),
    ("Expected '=' after a key", "an entry is written key = \"value\""),
    ("Unterminated string", "close the quotation mark on the same line"),
    ("Illegal character", "close the quotation mark on the same line"),
    ("Invalid initial character for a key part", "braces hold key = value pairs on one line"),
    ("Expected ']' at the end of a table", "a section is written [name]"),
)


def _syntax_faults(message: str, found: "Positions", place: str, text: str) -> list[Fault]:
    if found.duplicates:
        return [Fault(place, again, shown_key(key), f"stands twice, first on line {first}",
                      "keep one") for key, first, again in found.duplicates[:20]]
    match = _AT_LINE.match(message)
    if match:
        reason, line, column = match.groups()
    else:  # the parser met the end of the file: show where the unfinished thing begins
        reason = message.replace(" (at end of document)", " before the file ends")
        line, column = found.stopped or (0, 0)
    odd = _odd_letter(text.split("\n")[int(line) - 1]) if int(line) else ""
    if odd:
        name = unicodedata.name(odd, "unnamed character").lower()
        return [Fault(place, int(line), "", f"a key or section name holds {one_line(odd)!r} "
                      f"(U+{ord(odd):04X}, {name}), which is not a plain letter",
                      "type the name again")]
    right = next((hint for start, hint in _HINTS if reason.startswith(start)), "")
    return [Fault(place, int(line), "", f"column {column}: is no valid TOML: {one_line(reason)}",
                  right)]


def _odd_letter(line: str) -> str:
    """The first letter of a key or header that only looks like a plain one; "" where none does."""
    name = line.partition("=")[0]
    if any(mark in name for mark in "\"'#"):
        return ""
    return next((c for c in name if ord(c) > 127), "")


def shown_key(key: KeyPath) -> str:
    """A key as messages print it, e.g. `cables.route[0].length`."""
    words = ""
    for part in key:
        if isinstance(part, int):
            words += f"[{part}]"
        else:
            bare = _BARE.fullmatch(part) and len(part) <= LONGEST_SHOWN
            words += ("." if words else "") \
                + (part if bare else repr(one_line(part, LONGEST_SHOWN)))
    return words


# -- lines ------------------------------------------------------------------------------------


@value_object
class Positions:
    """Where each entry of one text stands.

    Attributes:
        lines: key path (names and list indices) to its 1-based line.
        duplicates: (path, first line, second line) of what is defined twice.
        refusal: (line, wrong, right) of what goes beyond the bounds, or None.
        stopped: (line, column) of the first thing not understood, or None.
    """

    lines: dict[KeyPath, int]
    duplicates: tuple[tuple[KeyPath, int, int], ...] = ()
    refusal: tuple[int, str, str] | None = None
    stopped: tuple[int, int] | None = None


def locate(text: str, dotted_key: KeyPath) -> int:
    """The 1-based line of a key, of its nearest parent where it is absent, else 0.

    Examples:
        >>> locate('[inverter]\\nvoltage_range = "260 V to 430 V"', ("inverter", "voltage_range"))
        2
        >>> locate('[inverter]', ("inverter", "absolute_maximum"))
        1
    """
    lines = positions(text).lines
    for length in range(len(dotted_key), 0, -1):
        if dotted_key[:length] in lines:
            return lines[dotted_key[:length]]
    return 0


@functools.lru_cache(maxsize=8)
def positions(text: str) -> Positions:
    """Scan one text; of invalid TOML, the part before the first thing not understood."""
    scanner = _Scanner(text)
    refusal = stopped = None
    try:
        scanner.document()
    except _NotUnderstood:
        column = scanner.at - text.rfind("\n", 0, scanner.at)
        stopped = (scanner.line_at(scanner.at), column)
    except _BeyondBounds as beyond:
        refusal = (scanner.line_at(scanner.at), *beyond.words)
    return Positions(scanner.lines, tuple(scanner.duplicates), refusal, stopped)


class _NotUnderstood(Exception):
    """The text is no TOML from here on; `tomllib` will say why."""


class _BeyondBounds(Exception):
    def __init__(self, wrong: str, right: str):
        super().__init__(wrong)
        self.words = (wrong, right)


_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BLANK = re.compile(r"[ \t]*")
_SKIP = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_LINE_END = re.compile(r"[ \t]*(?:#[^\n]*)?(?:\r?\n|\Z)")
_DOT = re.compile(r"[ \t]*\.[ \t]*")
_STRING = re.compile(
    r'"""(?:[^"\\]++|\\.|"{1,2}(?!"))*+"{3,5}'
    r"|'''(?:[^']++|'{1,2}(?!'))*+'{3,5}"
    r'|"(?!"")(?:[^"\\\n]++|\\.)*+"'
    r"|'(?!'')[^'\n]*+'", re.DOTALL)
_SCALAR = re.compile(r"(?:\d{4}-\d\d-\d\d (?=\d))?[^\s,\]}#\"'\[{=]+")
_OPENS = {"[": "]", "{": "}"}


@dataclass
class _Scanner:
    text: str
    at: int = 0
    lines: dict[KeyPath, int] = field(default_factory=dict)
    duplicates: list[tuple[KeyPath, int, int]] = field(default_factory=list)
    defined: dict[KeyPath, int] = field(default_factory=dict)
    array_lengths: dict[KeyPath, int] = field(default_factory=dict)
    counted: tuple[int, int] = (0, 1)

    def line_at(self, offset: int) -> int:
        """Line of an offset; counts on from the last one asked, so a whole scan is one pass."""
        before, line = self.counted
        if offset < before:
            before, line = 0, 1
        line += self.text.count("\n", before, offset)
        self.counted = (offset, line)
        return line

    def peek(self) -> str:
        return self.text[self.at:self.at + 1]

    def skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise _NotUnderstood
        self.at = match.end()

    def take(self, literal: str) -> None:
        if not self.text.startswith(literal, self.at):
            raise _NotUnderstood
        self.at += len(literal)

    def document(self) -> None:
        table: KeyPath = ()
        self.skip(_SKIP)
        while self.peek():
            if self.peek() == "[":
                table = self.header()
            else:
                self.entry(table)
            self.skip(_LINE_END)
            self.skip(_SKIP)

    def header(self) -> KeyPath:
        line = self.line_at(self.at)
        marks = 2 if self.text.startswith("[[", self.at) else 1
        self.take("[" * marks)
        *parents, last = self.key()
        self.take("]" * marks)
        path: KeyPath = ()
        for part in parents:
            path = self.inside((*path, part), line)
        path = (*path, last)
        if marks == 1:
            self.define(path, line)
            self.lines[path] = line
            return path
        if path in self.defined:
            self.duplicates.append((path, self.defined[path], line))
        index = self.array_lengths.get(path, 0)
        self.array_lengths[path] = index + 1
        self.lines.setdefault(path, line)
        self.lines[(*path, index)] = line
        return (*path, index)

    def inside(self, path: KeyPath, line: int) -> KeyPath:
        """The table that a parent's name means: for a list of tables, its last one."""
        self.lines.setdefault(path, line)
        length = self.array_lengths.get(path)
        return (*path, length - 1) if length else path

    def define(self, path: KeyPath, line: int) -> None:
        if path in self.defined or path in self.array_lengths:
            first = self.defined.get(path) or self.lines[path]
            self.duplicates.append((path, first, line))
        self.defined.setdefault(path, line)

    def entry(self, table: KeyPath) -> None:
        path = self.named(table)
        self.value(path)

    def named(self, table: KeyPath) -> KeyPath:
        """Take `key =` and note where the key stands."""
        line = self.line_at(self.at)
        path = table
        for part in self.key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self.define(path, line)
        self.take("=")
        self.skip(_BLANK)
        return path

    def key(self) -> list[str]:
        """A bare, quoted or dotted key and the blanks round it."""
        self.skip(_BLANK)
        parts = [self.key_part()]
        while match := _DOT.match(self.text, self.at):
            self.at = match.end()
            parts.append(self.key_part())
            if len(parts) > DEEPEST_KEY:
                raise _BeyondBounds(f"a key of more than {DEEPEST_KEY} parts",
                                    "no key of packcalc has more than four")
        self.skip(_BLANK)
        return parts

    def key_part(self) -> str:
        match = _BARE.match(self.text, self.at) or _STRING.match(self.text, self.at)
        if match is None or match.group().startswith(('"""', "'''")):
            raise _NotUnderstood
        self.at = match.end()
        raw = match.group()
        if raw[0] == '"' and "\\" in raw:
            return _unescaped(raw)
        return raw[1:-1] if raw[0] in "\"'" else raw

    def value(self, path: KeyPath) -> None:
        """Pass one value, noting every element and key inside; a stack, not recursion."""
        open_values: list[list] = []  # [path, closing mark, elements so far]
        while True:
            mark = self.peek()
            if mark in _OPENS and mark:
                open_values.append([path, _OPENS[mark], 0])
                self.at += 1
                if len(open_values) > DEEPEST_NEST:
                    raise _BeyondBounds(f"values nested more than {DEEPEST_NEST} deep",
                                        "packcalc reads lists and lists of pairs")
            else:
                self.scalar()
            while open_values and self.closes(open_values[-1]):
                open_values.pop()
            if not open_values:
                return
            path = self.element(open_values[-1])

    def closes(self, frame: list) -> bool:
        self.skip(_SKIP)
        if self.peek() == "," and frame[2]:
            self.at += 1
            self.skip(_SKIP)
        if self.peek() != frame[1]:
            return False
        self.at += 1
        return True

    def element(self, frame: list) -> KeyPath:
        frame[2] += 1
        if frame[1] == "}":
            return self.named(frame[0])
        path = (*frame[0], frame[2] - 1)
        self.lines[path] = self.line_at(self.at)
        return path

    def scalar(self) -> None:
        match = _STRING.match(self.text, self.at)
        if match is None:
            match = _SCALAR.match(self.text, self.at)
            if match is None:
                raise _NotUnderstood
            if len(match.group()) > LONGEST_TOKEN:
                raise _BeyondBounds(f"a bare value of {len(match.group())} characters",
                                    "a number has at most 15 digits; words need quotation marks")
        self.at = match.end()


def _unescaped(raw: str) -> str:
    try:
        return tomllib.loads(f"k = {raw}")["k"]
    except ValueError as error:
        raise _NotUnderstood from error

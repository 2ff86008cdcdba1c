"""What the brief's entries said when marks were given, and which of them read otherwise today."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from packcalc.brief import Brief
from packcalc.decisions import BENCH, Decision
from packcalc.marks import SIGN
from packcalc.reading.positions import one_line
from packcalc.value import value_object

Entries = tuple[tuple[str, str], ...]
NAME = re.compile(r"(.+\[\d+\])\.name")
_INDEX = re.compile(r"(.+?\[\d+\])(\..+)")
_BASIS = re.compile(r" \((?:given|assumed)\)$")
_OF_NO_FIGURE = ("title", "date_of_issue", "note")
LONGEST_SHOWN = 80
MOST_NAMED = 4
# Of a version that void marks were given to, as files have it.
INPUT, OF_MARKS, WAS = "input_digest", "marks", "was"
MANY_MARKS, MANY_ENTRIES, LONGEST_PIECE = 400, 80, 20_000  # in one cell of a sheet


@value_object
class Moved:
    """One entry that reads otherwise: its dotted name today, or "" where it is gone; in words."""

    dotted: str
    words: str


@value_object
class Earlier:
    """A version of the brief that marks were given to which are void since.

    Attributes:
        input_digest: of that brief; "" where it is not known.
        marks: digests of those marks.
        entries: of that brief.
    """

    input_digest: str
    marks: tuple[str, ...]
    entries: Entries

    def written(self, now: Entries) -> dict[str, Any]:
        """As a file has it: which marks, and each entry that read otherwise than `now` does.

        An entry of which there was none then is None.
        """
        then, today = dict(self.entries), dict(now)
        return {INPUT: self.input_digest, OF_MARKS: [*self.marks],
                WAS: {key: then.get(key) for key in dict.fromkeys((*then, *today))
                      if then.get(key) != today.get(key)}}


def in_pieces(written: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """The same as no cell of a sheet is too long for."""
    marks = written[OF_MARKS]
    for start in range(0, len(marks), MANY_MARKS):
        yield {INPUT: written[INPUT], OF_MARKS: marks[start:start + MANY_MARKS]}
    yield from ({WAS: some} for some in few_entries(written[WAS].items()))


def few_entries(entries: Iterable[tuple[str, str | None]]) -> Iterator[dict[str, str | None]]:
    """Entries, as many at once as no cell of a sheet is too long for."""
    some: dict[str, str | None] = {}
    length = 0
    for key, text in entries:
        length += len(key) + len(text or "")
        if some and (len(some) == MANY_ENTRIES or length > LONGEST_PIECE):
            yield some
            some, length = {}, len(key) + len(text or "")
        some[key] = text
    if some:
        yield some


def earlier_of(pieces: Iterable[Mapping[str, Any]], now: Entries) -> Earlier:
    """The same from what a file has.

    Examples:
        >>> one, now = Earlier("k0", ("k1",), (("a", "1"), ("b", "2"))), (("a", "1"), ("c", "3"))
        >>> one.written(now)["was"]
        {'b': '2', 'c': None}
        >>> earlier_of(in_pieces(one.written(now)), now) == one
        True
    """
    found, marks = "", list[str]()
    then: dict[str, str | None] = dict(now)
    for piece in pieces:
        found = piece.get(INPUT, found)
        marks += piece.get(OF_MARKS, ())
        then |= piece.get(WAS, {})
    return Earlier(found, tuple(marks), tuple((k, text) for k, text in then.items()
                                              if text is not None))


def entries_of(brief: Brief) -> Entries:
    """Every entry and every figure of a module as printed, by the name that a page has for it."""
    figures = [(name, f"{leaf.shown} ({leaf.basis})") for name, leaf in brief.entries()
               if leaf.known]
    words = [(name, text) for name, text in brief.words() if name not in _OF_NO_FIGURE]
    modules = [(f"{one.module.id}: {f.title}", f"{f.shown} ({f.weakest})")
               for one in brief.modules for f in one.module.figures if f.known]
    return tuple((name, " ".join(text.split())) for name, text in (*figures, *words, *modules))


def list_digest(lines: Iterable[Decision]) -> str:
    """Which decisions a version has, by their ids; those of the bench come and go."""
    names = sorted(name for d in lines if not d.id.startswith(f"{BENCH}.")
                   for name in (d.id, *d.aliases))
    return SIGN + hashlib.sha256("\n".join(names).encode()).hexdigest()[:12]


def bare(text: str) -> str:
    """Words without their basis, which a page prints behind them."""
    return _BASIS.sub("", text)


def names_of(entries: Iterable[tuple[str, str]], kind: str) -> tuple[str, ...]:
    """Names of the tables of one kind, as "branch", in their order."""
    return tuple(bare(text) for key, text in entries
                 if (found := NAME.fullmatch(key)) and found[1].partition("[")[0] == kind)


def moved(before: Entries, brief: Brief) -> tuple[Moved, ...]:
    """Entries that read otherwise today, in the order of the brief; a table is known by its name.

    Args:
        before: as the file of marks has them; empty where it has none.
        brief: of today.
    """
    today = entries_of(brief)
    words = {key for key, _ in brief.words()}
    old, new = _by_name(before), _by_name(today)
    found = [Moved(dotted, f"{_cut(key)} was {_cut(old[key][1])}, is {_cut(text)}")
             for key, (dotted, text) in new.items()
             if key in old and not _alike(old[key][1], text, dotted in words)]
    found += [Moved(dotted, f"{_cut(key)} is new: {_cut(text)}")
              for key, (dotted, text) in new.items() if key not in old]
    found += [Moved("", f"{_cut(key)} was {_cut(text)}, and is there no more")
              for key, (dotted, text) in old.items() if key not in new
              and dotted not in _OF_NO_FIGURE]
    return tuple(found) if before else ()


def told(under: set[str], changes: Sequence[Moved]) -> str:
    """The entries under a decision that read otherwise; else those of the brief, as such."""
    own = [one.words for one in changes if one.dotted in under]
    if own:
        return _listed(own)
    return f"in the brief since: {_listed([one.words for one in changes])}" if changes else ""


def _listed(words: Sequence[str]) -> str:
    more = len(words) - MOST_NAMED
    return "; ".join(words[:MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")


def _by_name(entries: Entries) -> Mapping[str, tuple[str, str]]:
    """(dotted, text) by a key that has a table's name for its number, which others may shift."""
    named = {found[1]: bare(text) for key, text in entries
             if (found := NAME.fullmatch(key))}

    def called(key: str) -> str:
        found = _INDEX.fullmatch(key)
        if found is None or found[1] not in named:
            return key
        return f"{found[1].partition('[')[0]}[{one_line(named[found[1]], 40)}]{found[2]}"

    return {called(key): (key, text) for key, text in entries}


def _alike(one: str, other: str, words: bool) -> bool:
    """The same text; a page prints behind words too whether they were given."""
    return one == other or words and bare(one) == other


def _cut(text: str) -> str:
    return one_line(text, LONGEST_SHOWN)

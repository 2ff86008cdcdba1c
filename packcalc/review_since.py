"""What the brief's entries said when marks were given, and which of them read otherwise today."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence

from packcalc.brief import Brief
from packcalc.decisions import BENCH, Decision, entries_under
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


@value_object
class Moved:
    """One entry that reads otherwise: its dotted name today, or "" where it is gone; in words."""

    dotted: str
    words: str


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


def told(decision: Decision, brief: Brief, changes: Sequence[Moved]) -> str:
    """The entries under a decision that read otherwise; else those of the brief, as such."""
    under = entries_under(decision, brief)
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

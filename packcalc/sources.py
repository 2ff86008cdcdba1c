"""The register of the standards, papers, books and laws that packcalc cites.

Code cites a key; the words about a source stand once, under `data/sources/`.
"""

from __future__ import annotations

import functools
import tomllib
from importlib import resources

from packcalc.errors import ProgramFault, UnknownName
from packcalc.value import value_object


@value_object
class Source:
    """One thing that can be cited.

    Attributes:
        key: what code and tables cite.
        title: author, title, number.
        edition: edition or year.
        kind: standard, law, paper, book, guide, data or practice.
        seen: how it was read, in plain words.
        note: what a reader should know before relying on it.
    """

    key: str
    title: str
    edition: str
    kind: str
    seen: str
    note: str = ""


@functools.lru_cache(maxsize=1)
def register() -> dict[str, Source]:
    """Every source by key."""
    folder = resources.files("packcalc").joinpath("data/sources")
    entries: dict[str, Source] = {}
    for path in sorted(folder.iterdir(), key=lambda p: p.name):
        if path.name.endswith(".toml"):
            for key, entry in tomllib.loads(path.read_text("utf-8")).items():
                if key in entries:
                    raise ProgramFault(f"source {key} is registered twice")
                entries[key] = Source(key=key, **entry)
    return entries


def source(key: str) -> Source:
    """The source of that key.

    Raises:
        UnknownName: no such key.
    """
    known = register()
    if key not in known:
        raise UnknownName("source", key, known)
    return known[key]

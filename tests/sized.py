"""The shipped examples, each sized and put into a document once in a process.

What comes back is frozen; a test that changes a brief or a sheet sizes its own.
"""

from __future__ import annotations

import functools
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from packcalc import api
from packcalc.protection import ProtectionStudy
from packcalc.report.document import Document

ROOT = Path(__file__).resolve().parents[1]
KEPT = 16


@functools.lru_cache(maxsize=None)
def example(name: str, layout: str = "", arrangement: str = "") -> ProtectionStudy:
    """An example as it is shipped, sized."""
    return api.size_protection(api.read_brief(ROOT / "examples" / name / "brief.toml"), layout,
                               arrangement=arrangement)


@functools.lru_cache(maxsize=None)
def report(name: str) -> Document:
    """Its whole file for review, of the layout that is taken where none is named."""
    return api.report_document(example(name))


def once(work: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """What follows from one frozen object, worked out once for that very object."""
    kept: OrderedDict[int, tuple[Any, Any]] = OrderedDict()

    @functools.wraps(work)
    def found(one: Any) -> Any:
        if id(one) not in kept:
            kept[id(one)] = one, work(one)  # the object is kept: its id belongs to no other
            if len(kept) > KEPT:
                kept.popitem(last=False)
        return kept[id(one)][1]

    return found

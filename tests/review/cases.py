"""One small study for the tests of the review, and ways to mark it."""

from __future__ import annotations

import functools
from datetime import date
from typing import Any

from packcalc.api import size_protection
from packcalc.decisions import Decision, decisions
from packcalc.marks import ACCEPT, CHANGE, Mark
from packcalc.protection import ProtectionStudy
from packcalc.review import ReviewFile, blank_file
from tests.briefs import asked
from tests.sized import once

HOSTILE = ("</script><script>window.broken=1</script>", "<img src=x onerror=window.broken=1>",
           "{{ 7*7 }} {% raw %}", "=HYPERLINK(\"x\")", "\"><svg onload=window.broken=1>",
           "'--", "]]>", "javascript:window.broken=1", "&lt;b&gt; \\u003c")


TODAY = date(2026, 12, 31)  # by the clock of every test, see tests/conftest.py


@functools.lru_cache(maxsize=None)
def study(**changes: str) -> ProtectionStudy:
    """The invented pack, sized; entries changed as `asked` takes them."""
    return size_protection(asked(**{"title": "review case, invented", **changes}))


@once
def known(found: ProtectionStudy) -> dict[str, Decision]:
    return {d.id: d for d in decisions(found)}


def mark(decision: Decision, verdict: str = ACCEPT, **more: Any) -> Mark:
    """A mark on a decision as it stands."""
    if verdict == CHANGE:
        more.setdefault("change_to", "500 A")
    given = {"name": "A. Invented", "date": "2026-11-25", "scope": "electrical",
             "also": "; ".join(decision.also), **more}
    return Mark(decision.id, verdict, more.pop("digest", decision.digest),
                **{k: v for k, v in given.items() if k != "digest"})


def file(found: ProtectionStudy, *marks: Mark) -> ReviewFile:
    blank = blank_file(found)
    return ReviewFile(blank.design, marks, "marks.json", blank.layout, blank.input_digest)

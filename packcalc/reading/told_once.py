"""Many faults of one cause, told in one line."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from packcalc.errors import Fault

FEW = 3  # faults of one cause, up to which each is told by itself
MOST_RANGES = 6
_SAID = re.compile(r"^module .{1,40}?: |'.*'|\d[\d.,-]*")  # whose, and the figures
_EXAMPLE = re.compile(r', like ".*"$')


def first_of(faults: Sequence[Fault], most: int) -> list[Fault]:
    """The first faults, and one line that says how many more there are.

    Examples:
        >>> print(*first_of([Fault("r.csv", n, "a", "is empty") for n in (4, 5, 6)], 2), sep="\\n")
        r.csv:4: a: is empty
        r.csv:5: a: is empty
        r.csv: 1 further fault is not listed
    """
    more = len(faults) - most
    if more <= 0:
        return list(faults)
    return [*faults[:most], Fault(faults[0].file, 0, "", f"{more} further fault"
                                  f"{' is' if more == 1 else 's are'} not listed")]


def told_once(faults: Iterable[Fault], *, by_key: bool = False) -> list[Fault]:
    """The same faults by line; those that differ in figures and quoted words alone become one.

    Args:
        faults: those of two files stay apart.
        by_key: whether faults of two keys stay apart: where a key is a column, not a row.

    Examples:
        >>> rows = [Fault("r.csv", n, "a", f"'{n},5 V' has a comma") for n in (4, 5, 6, 9)]
        >>> [str(fault) for fault in told_once(rows)]
        ["r.csv:4: a: '4,5 V' has a comma, and likewise lines 5 to 6, 9"]
    """
    groups: dict[tuple[object, ...], list[Fault]] = {}
    for number, fault in enumerate(faults):
        # What has no line is about the whole file and stands alone.
        alike = (fault.file, _SAID.sub("", fault.wrong), _EXAMPLE.sub("", fault.right),
                 by_key and fault.key)
        groups.setdefault(alike if fault.line else (number,), []).append(fault)
    found: list[Fault] = []
    for group in groups.values():
        first, *more = sorted(group, key=lambda f: f.line)
        found += group if len(more) < FEW else [first._replace(
            wrong=f"{first.wrong}, and likewise lines {_ranges([f.line for f in more])}")]
    return sorted(found, key=lambda f: (f.line == 0, f.line))


def _ranges(lines: Sequence[int]) -> str:
    """Line numbers in ascending order, neighbours joined."""
    ends: list[list[int]] = []
    for line in lines:
        if ends and line <= ends[-1][1] + 1:
            ends[-1][1] = line
        else:
            ends.append([line, line])
    words = [str(a) if a == b else f"{a} to {b}" for a, b in ends[:MOST_RANGES]]
    more = sum(a <= line <= b for a, b in ends[MOST_RANGES:] for line in lines)
    return ", ".join(words) + (f" and {more} more" if more else "")

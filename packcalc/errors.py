"""The tree of errors: what a user can cause, apart from faults of the program.

    PackcalcError
    ├── UserError              one line each, exit code 2
    │   ├── InputErrors        several faults found in one pass
    │   ├── UnitError          a text that is not a quantity of the wanted kind
    │   ├── OutOfRange         an input outside a formula's or a table's range
    │   ├── UnknownName        a name that no register holds, with the nearest ones
    │   └── OutputError        a result that cannot be written
    └── ProgramFault           a broken promise inside packcalc; never the user's doing
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class PackcalcError(Exception):
    """Root of every error that packcalc raises on purpose."""


class UserError(PackcalcError):
    """A mistake that a user can cause and mend; told in one line."""


class UnitError(UserError):
    """A text that is not a quantity of the wanted kind."""


class OutOfRange(UserError):
    """An input outside the range of a formula or table; never extrapolated."""


class OutputError(UserError):
    """A result that cannot be written where the user asked."""


class UnknownName(UserError):
    """A name that is not in a register; the message lists the nearest ones."""

    def __init__(self, kind: str, name: str, known: Iterable[str], *, likeness: bool = True):
        self.kind, self.name, self.known = kind, name, sorted(known)
        near = nearest(name, self.known) if likeness else \
            self.known[0] if len(self.known) == 1 else ""
        more = f" and {len(self.known) - 12} more" if len(self.known) > 12 else ""
        listed = "known: " + ", ".join(self.known[:12]) + more
        hint = f"did you mean {near!r}?" if near else listed
        super().__init__(f"unknown {kind} {name[:60]!r}; {hint}")


class ProgramFault(PackcalcError):
    """packcalc broke one of its own promises; report it as a bug."""


class Fault(NamedTuple):
    """One thing wrong with a user's file.

    Attributes:
        file: path as the user gave it.
        line: 1-based line, or 0 when the whole file is meant.
        key: dotted key or column name, empty when none applies.
        wrong: what is wrong.
        right: what would be right.
    """

    file: str
    line: int
    key: str
    wrong: str
    right: str = ""

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        key = f" {self.key}:" if self.key else ""
        right = f"; {self.right}" if self.right else ""
        return f"{where}:{key} {self.wrong}{right}"


class InputErrors(UserError):
    """Every fault found in one pass over a user's file."""

    def __init__(self, faults: Iterable[Fault]):
        # A file that two entries name is read twice: its faults are told once.
        self.faults = tuple(dict.fromkeys(faults))
        super().__init__("\n".join(str(fault) for fault in self.faults))


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name most like `name`, or an empty text when none is near."""
    import difflib  # one message in a hundred needs it

    lowered = {item.lower(): item for item in known}
    wanted = name[:80].lower()
    found = difflib.get_close_matches(wanted, list(lowered), n=1, cutoff=0.6)
    if not found and len(_bare(wanted)) >= 3:
        found = [item for item in sorted(lowered) if _bare(item).startswith(_bare(wanted))]
    return lowered[found[0]] if found else ""


def _bare(name: str) -> str:
    return "".join(c for c in name if c.isalnum())

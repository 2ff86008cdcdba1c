"""What a reviewer may say of a decision, and how a decision then stands."""

from __future__ import annotations

import re

from packcalc.value import value_object

SIGN = "k"  # begins every digest: digits alone, or 12e34, a spreadsheet rewrites as a number
_BARE = re.compile(r"[0-9a-f]{12}|[0-9a-f]{16}")  # as files of the first version have them

ACCEPT, CHANGE, REJECT = "accept", "change", "reject"
NOT_CHECKED, NOT_MY_FIELD = "not checked", "not my field"
MARKS = (ACCEPT, CHANGE, REJECT, NOT_CHECKED, NOT_MY_FIELD)
CHANGE_TO = "change to"  # as a page prints it, before the new value
SPELLED = tuple(CHANGE_TO if mark == CHANGE else mark for mark in MARKS)

NOT_MARKED, VOID, CONFLICT = "not marked", "void: changed since", "reviewers differ"
ACCEPTED, CHANGE_ASKED, REJECTED = "accepted", "change asked", "rejected"
LEFT, PARTLY = "not checked by those who marked", "accepted for some parts"
STANDINGS = (CONFLICT, REJECTED, CHANGE_ASKED, VOID, NOT_MARKED, PARTLY, LEFT, ACCEPTED)
BETWEEN = "; "  # of the titles of parts that share one figure


def spelled(words: str) -> str:
    """The mark that words spell, whatever their case and spaces; else the words themselves.

    Examples:
        >>> spelled("Change to"), spelled("NOT  CHECKED"), spelled("fine")
        ('change', 'not checked', 'fine')
    """
    plain = " ".join(words.casefold().split())
    return CHANGE if plain == CHANGE_TO else plain if plain in MARKS else words


def signed(digest: str) -> str:
    """A digest as it is written today; the first version left out the sign before it.

    Examples:
        >>> signed("12e345678901"), signed("k12e345678901")
        ('k12e345678901', 'k12e345678901')
    """
    return SIGN + digest if _BARE.fullmatch(digest) else digest


@value_object
class Mark:
    """What one person says of one decision.

    Attributes:
        decision_id: id of the decision.
        verdict: one of MARKS.
        digest: of the decision at the time of marking.
        name: who marked it.
        date: ISO 8601.
        change_to: what it should be, with verdict "change".
        scope: what this person reviews, e.g. "electrical installation".
        licence: number, or "" where none is held.
        note: free words.
        scan: name of the scanned sheet, for a paper mark that somebody else entered.
        also: further parts that shared the figure when it was marked, as printed.
    """

    decision_id: str
    verdict: str
    digest: str
    name: str
    date: str
    change_to: str = ""
    scope: str = ""
    licence: str = ""
    note: str = ""
    scan: str = ""
    also: str = ""

    def speaks_for(self, part: str) -> bool:
        """Whether that further part shared the figure when this mark was given.

        Examples:
            >>> one = Mark("id", ACCEPT, "k0", "A. Invented", "2026-11-25", also="Busbar; Fuse")
            >>> one.speaks_for("Fuse"), one.speaks_for("Bus")
            (True, False)
        """
        return BETWEEN + " ".join(part.split()) + BETWEEN in BETWEEN + self.also + BETWEEN

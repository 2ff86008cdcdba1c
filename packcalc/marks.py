"""What a reviewer may say of a decision, and how a decision then stands."""

from __future__ import annotations

from packcalc.value import value_object


ACCEPT, CHANGE, REJECT = "accept", "change", "reject"
NOT_CHECKED, NOT_MY_FIELD = "not checked", "not my field"
MARKS = (ACCEPT, CHANGE, REJECT, NOT_CHECKED, NOT_MY_FIELD)

NOT_MARKED, VOID, CONFLICT = "not marked", "void: changed since", "reviewers differ"
ACCEPTED, CHANGE_ASKED, REJECTED = "accepted", "change asked", "rejected"
LEFT = "not checked by those who marked"
STANDINGS = (CONFLICT, REJECTED, CHANGE_ASKED, VOID, NOT_MARKED, LEFT, ACCEPTED)


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

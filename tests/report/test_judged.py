"""The list of what fails and what needs caution leaves nothing out."""

from __future__ import annotations

import pytest

from packcalc.checks import CAUTION
from packcalc.report.blocks import Table
from tests.sized import example, report


@pytest.mark.parametrize("name", ["truck", "van"])
def test_a_caution_is_not_hidden_by_what_a_sheet_does_not_say(name):
    # the van's main fuse (504 A against 1.45·Iz) stood among the decisions alone
    study = example(name)
    text = str([block for section in report(name).sections if section.key == "judged"
                for block in section.blocks if isinstance(block, Table)])
    found = [check.title for item in study.items for part in item.candidates
             if part.own and any(part.name in c.title for c in item.checks)
             for check in part.checks if check.verdict == CAUTION]
    assert found and [title for title in found if title not in text] == []

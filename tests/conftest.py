"""What holds for every test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from packcalc import review
from tests.review.cases import TODAY


@pytest.fixture(scope="session", autouse=True)
def _one_day() -> Iterator[None]:
    """Marks are dated: no test may turn with the clock of the computer that runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(review, "today", lambda: TODAY)
        yield

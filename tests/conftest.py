"""What holds for every test."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest

from packcalc import cli  # noqa: F401  first of all: it says how many threads numpy gets
from packcalc import review
from packcalc.door import COLLECT_AFTER
from tests.review.cases import TODAY


# Studies are kept for many tests: walking through all of them again and again finds nothing.
gc.set_threshold(COLLECT_AFTER, 50, 1000)


def pytest_collection_finish() -> None:
    """Nor does walking through the thousands of tests themselves."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def _one_day() -> Iterator[None]:
    """Marks are dated: no test may turn with the clock of the computer that runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(review, "today", lambda: TODAY)
        yield

"""What holds for every test."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded, as `packcalc.cli` does

from packcalc import review  # noqa: E402
from packcalc.door import COLLECT_AFTER  # noqa: E402
from tests.review.cases import TODAY  # noqa: E402


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

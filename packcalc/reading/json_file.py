"""JSON files read with bounds: size, nesting, doubled keys, numbers that are none."""

from __future__ import annotations

import json
import os
from typing import Any

from packcalc.errors import Fault, InputErrors
from packcalc.reading.positions import one_line

LARGEST_REPORT = 30_000_000


def parse(text: str, place: str) -> Any:
    """The data of a JSON text; `place` names its file in a fault.

    Raises:
        InputErrors: truncated, doubled keys, nested too deep, or no JSON.
    """
    try:
        return json.loads(text, object_pairs_hook=_once, parse_constant=_no_number)
    except _Refused as refused:
        raise _whole(place, 0, str(refused), "is this the right file?") from refused
    except RecursionError as error:
        raise _whole(place, 0, "is nested too deep", "is this the right file?") from error
    except json.JSONDecodeError as error:
        ended = error.pos >= len(text.rstrip())
        wrong = "ends in the middle" if ended or "Unterminated" in error.msg else "is no JSON"
        raise _whole(place, error.lineno, f"{wrong}: column {error.colno}: {error.msg.lower()}",
                     "is the file whole? save it again") from error
    except ValueError as error:  # an integer of thousands of digits
        raise _whole(place, 0, f"is no JSON that is read here: {one_line(str(error), 80)}",
                     "is this the right file?") from error


def read_report(path: str | os.PathLike[str]) -> dict[str, Any]:
    """A report that packcalc wrote as JSON.

    Raises:
        InputErrors: it cannot be read, is too large, or is no report.
    """
    place = one_line(os.fspath(path))
    try:
        with open(path, "rb") as file:
            data = file.read(LARGEST_REPORT + 1)
        text = data.decode("utf-8-sig")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "no UTF-8 text"
        raise _whole(place, 0, f"cannot be read ({why})", "check the name") from error
    if len(data) > LARGEST_REPORT:
        raise _whole(place, 0, f"is larger than {LARGEST_REPORT} bytes", "is this the right file?")
    report = parse(text, place)
    if not isinstance(report, dict) or not {"packcalc", "title", "findings"} <= set(report):
        raise _whole(place, 0, "is no report of packcalc",
                     "write one with packcalc report BRIEF --out FILE.json")
    return report


class _Refused(ValueError):
    """What JSON allows and a packcalc file never holds."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _Refused(f"the key {one_line(twice, 60)!r} stands twice in one object")
    return found


def _no_number(word: str) -> Any:
    raise _Refused(f"{word} is no number")


def _whole(place: str, line: int, wrong: str, right: str) -> InputErrors:
    return InputErrors([Fault(place, line, "", wrong, right)])

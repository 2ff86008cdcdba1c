"""packcalc: layouts and protection candidates from salvaged battery modules, for review.

HIGH VOLTAGE, LETHAL DC. Results are candidates for review by a licensed electrician;
local codes come first.

The functions of `packcalc.api` and the errors of `packcalc.errors` can be taken from here;
they load on first use.
"""

from __future__ import annotations

from typing import Any

__version__ = "0.1.0"

_ERRORS = ("InputErrors", "OutOfRange", "OutputError", "PackcalcError", "ProgramFault",
           "UnitError", "UnknownName", "UserError")
_FUNCTIONS = ("cell_classes", "formulas", "layouts_frame", "library", "list_layouts",
              "make_brief", "read_brief", "record", "render_report", "report_document",
              "size_protection", "untried", "write_report")

__all__ = ["__version__", *_ERRORS, *_FUNCTIONS]


def __getattr__(name: str) -> Any:
    if name in _FUNCTIONS:
        from packcalc import api

        return getattr(api, name)
    if name in _ERRORS:
        from packcalc import errors

        return getattr(errors, name)
    raise AttributeError(f"module 'packcalc' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)

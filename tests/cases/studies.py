"""The invented examples with entries changed, sized anew."""

from __future__ import annotations

import tomllib
from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

from examples.regenerate import ROOT
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data

LAYOUTS = {"truck": ("16S1P", ""), "van": ("", ""), "minibus": ("12S2P", "strings"),
           "faulty": ("16S1P", "")}
KEPT = 40
_SIZED: OrderedDict[str, ProtectionStudy] = OrderedDict()


def study(name: str, *, branch: Mapping[str, dict[str, Any]] | None = None, without: str = "",
          **changes: Any) -> ProtectionStudy:
    """An example with entries "section__key" changed; None takes one out.

    What was asked for a short while ago is not sized again: a study is frozen.

    Args:
        name: folder of the example.
        branch: entries changed of a branch, by its name.
        without: kind of branches left out.
    """
    asked = repr((name, sorted((branch or {}).items()), without, sorted(changes.items())))
    if asked not in _SIZED:
        _SIZED[asked] = _sized(name, branch or {}, without, changes)
        if len(_SIZED) > KEPT:
            _SIZED.popitem(last=False)
    _SIZED.move_to_end(asked)
    return _SIZED[asked]


def _sized(name: str, branch: Mapping[str, dict[str, Any]], without: str,
           changes: dict[str, Any]) -> ProtectionStudy:
    brief = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(brief.read_text("utf-8"))
    data["branch"] = [{**one, **branch.get(one["name"], {})} for one in data["branch"]
                      if one["kind"] != without]
    for entry, value in changes.items():
        section, _, key = entry.partition("__")
        data[section][key] = value
        if value is None:
            data[section].pop(key)
    return study_protection(brief_from_data(data, str(brief)), *LAYOUTS[name])

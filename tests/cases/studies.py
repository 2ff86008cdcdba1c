"""The invented examples with entries changed, sized anew."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

from examples.regenerate import ROOT
from packcalc.protection import ProtectionStudy, study_protection
from packcalc.reading.brief_file import brief_from_data

LAYOUTS = {"truck": ("16S1P", ""), "van": ("", ""), "minibus": ("12S2P", "strings"),
           "faulty": ("16S1P", "")}


def study(name: str, *, branch: Mapping[str, dict[str, Any]] | None = None, without: str = "",
          **changes: Any) -> ProtectionStudy:
    """An example with entries "section__key" changed; None takes one out.

    Args:
        name: folder of the example.
        branch: entries changed of a branch, by its name.
        without: kind of branches left out.
    """
    brief = ROOT / "examples" / name / "brief.toml"
    data = tomllib.loads(brief.read_text("utf-8"))
    data["branch"] = [{**one, **(branch or {}).get(one["name"], {})} for one in data["branch"]
                      if one["kind"] != without]
    for entry, value in changes.items():
        section, _, key = entry.partition("__")
        data[section][key] = value
        if value is None:
            data[section].pop(key)
    return study_protection(brief_from_data(data, str(brief)), *LAYOUTS[name])

"""Write the reports of every example again: `python examples/regenerate.py`.

The scenarios are invented. Reports are kept beside their briefs so that they can be read
without installing anything; a test compares them with what packcalc writes today.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))  # this checkout's packcalc, installed or not

from packcalc.cli import main  # noqa: E402

FILES = ("report.html", "report.txt")

# What each report is asked for, besides its brief.
EXAMPLES: dict[str, tuple[str, ...]] = {
    "truck": (),
    "van": (),
    "minibus": ("--layout", "12S2P", "--arrangement", "strings"),
    "faulty": ("--layout", "16S1P"),
}
# Wrong on purpose: its reports are written too, and the exit code says that the answer is no.
ANSWER_IS_NO = ("faulty",)


def arguments(name: str, out: str) -> list[str]:
    """The command that writes one report, to be run from the top folder."""
    return ["report", f"examples/{name}/brief.toml", *EXAMPLES[name], "--out", out, "--quiet"]


def regenerate() -> None:
    """Write every report beside its brief."""
    os.chdir(ROOT)  # origins in a report name the brief as the user would
    for name in EXAMPLES:
        for file in FILES:
            out = f"examples/{name}/{file}"
            try:
                main(arguments(name, out))
            except SystemExit as end:
                right = end.code == (1 if name in ANSWER_IS_NO else 0)
                print(f"written: {out}" if right else f"{out}: exit code {end.code}")


if __name__ == "__main__":
    regenerate()

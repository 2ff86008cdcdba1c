"""Write the reports and pages of every example again: `python examples/regenerate.py`.

The scenarios are invented. Reports are kept beside their briefs so that they can be read
without installing anything; a test compares them with what packcalc writes today.
"""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))  # this checkout's packcalc, installed or not

from packcalc.cli import main  # noqa: E402
from packcalc.reading.brief_file import read_brief  # noqa: E402

# What each example is asked for, besides its brief.
EXAMPLES: dict[str, tuple[str, ...]] = {
    "truck": (),
    "van": (),
    "minibus": ("--layout", "12S2P", "--arrangement", "strings"),
    "faulty": ("--layout", "16S1P"),
}
REPORTS = {"report.html": ("report",), "report.txt": ("report",)}
PAGES = {
    **REPORTS,
    "review.html": ("review",),
    "review.csv": ("review",),
    "build.html": ("build",),
    "commission.html": ("commission",),
    "maintain.html": ("maintain",),
    "responder.html": ("responder",),
    "certify.html": ("certify",),
}
# What was read and fitted when the truck was built, and half a year later; invented.
TEARDOWN = {"teardown.html": ("teardown",)}  # of the donor that its modules came out of
BUILT = {
    "as-built.html": ("build", "--as-built", "examples/truck/as-built.csv"),
    "trend.html": ("commission", "--readings", "examples/truck/readings.csv"),
}
FILES: dict[str, dict[str, tuple[str, ...]]] = {
    "truck": {**TEARDOWN, **PAGES, **BUILT}, "van": PAGES, "minibus": PAGES, "faulty": REPORTS}
# Written too, and the exit code says that the answer is no: a design that is wrong on purpose,
# a record with a deviation that goes back to the reviewer, and a joint that stands out.
ANSWER_IS_NO = (("faulty", "report.html"), ("faulty", "report.txt"),
                ("truck", "as-built.html"), ("truck", "trend.html"))


def arguments(name: str, file: str, out: str) -> list[str]:
    """The command that writes one file, to be run from the top folder."""
    command, *more = FILES[name][file]
    return [command, f"examples/{name}/brief.toml", *EXAMPLES[name], *more, "--out", out,
            "--quiet"]


def refreshed(record: str, digest: str) -> str:
    """An as-built record of the design as it is today: its rows end in the digest of the brief.

    The truck was built, in its story, from the brief that stands beside the record; with the
    digest of an earlier text the page would show a deviation that is none of the story's.
    """
    return re.sub(r",[0-9a-f]{16}$", f",{digest}", record, flags=re.MULTILINE)


def refresh_records() -> None:
    """Write today's digest into every as-built record that stands beside a brief."""
    for record in sorted(Path("examples").glob("*/as-built.csv")):
        digest = read_brief(record.with_name("brief.toml")).digest
        record.write_text(refreshed(record.read_text("utf-8"), digest), "utf-8")


def regenerate() -> None:
    """Write every file beside its brief."""
    os.chdir(ROOT)  # origins in a report name the brief as the user would
    refresh_records()
    for name, files in FILES.items():
        for file in files:
            out = Path("examples", name, file)
            if file == "review.csv":  # packcalc spares a sheet that is there: it may hold marks
                out.unlink(missing_ok=True)
            try:
                main(arguments(name, file, str(out)))
            except SystemExit as end:
                right = end.code == (1 if (name, file) in ANSWER_IS_NO else 0)
                print(f"written: {out}" if right else f"{out}: exit code {end.code}")


if __name__ == "__main__":
    regenerate()

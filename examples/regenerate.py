"""Write the reports and pages of every example again: `python examples/regenerate.py`.

The scenarios are invented. Reports are kept beside their briefs so that they can be read
without installing anything; a test compares them with what packcalc writes today.
"""

from __future__ import annotations

import contextlib
import csv
import io
import os
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))  # this checkout's packcalc, installed or not

from packcalc.cli import main  # noqa: E402
from packcalc.reading.as_built_file import COLUMNS, FILLED  # noqa: E402

# What each example is asked for, besides its brief.
EXAMPLES: dict[str, tuple[str, ...]] = {
    "truck": (),
    "van": (),
    "minibus": (),
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
    "trend.html": ("commission", "--readings", "examples/truck/readings.csv",
                   "--date", "2026-11-24"),  # the same page whenever it is written
}
FILES: dict[str, dict[str, tuple[str, ...]]] = {
    "truck": {**TEARDOWN, **PAGES, **BUILT}, "van": PAGES, "minibus": PAGES, "faulty": PAGES}
# Written too, and the exit code says that the answer is no: a design that is wrong on purpose,
# a record with one deviation that goes back to the reviewer, and a joint that stands out.
ANSWER_IS_NO = (*(("faulty", file) for file in PAGES),
                ("truck", "as-built.html"), ("truck", "trend.html"))


def arguments(name: str, file: str, out: str) -> list[str]:
    """The command that writes one file, to be run from the top folder."""
    command, *more = FILES[name][file]
    return [command, f"examples/{name}/brief.toml", *EXAMPLES[name], *more, "--out", out,
            "--quiet"]


def refreshed(record: str, form: str) -> str:
    """An as-built record on the form of today: printed columns of the form, filled ones kept.

    The truck was built, in its story, from the brief that stands beside the record. What was
    fitted stays as it was written: where the design has moved on, the page tells a deviation,
    which is none of the story's, and a test asks for the record to be mended.
    """
    remarks = [line for line in record.splitlines() if line.lstrip('"').startswith("#")]
    written = {row["id"]: row for row in _rows(record)}
    out = io.StringIO()
    out.writelines(f"{line}\n" for line in remarks)
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for row in _rows(form):
        kept = written.get(row["id"], {})
        writer.writerow({**row, **{key: kept.get(key, "") for key in FILLED}})
    return out.getvalue()


def _rows(text: str) -> list[dict[str, str]]:
    lines = (line for line in text.splitlines() if not line.lstrip('"').startswith("#"))
    return list(csv.DictReader(lines))


def refresh_records() -> None:
    """Put every as-built record that stands beside a brief on the form of today."""
    for record in sorted(Path("examples").glob("*/as-built.csv")):
        name = record.parent.name
        with tempfile.TemporaryDirectory() as folder:
            form = Path(folder, "form.csv")
            with contextlib.suppress(SystemExit):
                main(["build", f"examples/{name}/brief.toml", *EXAMPLES[name], "--form",
                      str(form), "--quiet"])
            record.write_text(refreshed(record.read_text("utf-8"), form.read_text("utf-8")),
                              "utf-8")


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

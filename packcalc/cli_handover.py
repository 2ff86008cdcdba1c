"""The commands of the handover: build, commission, maintain, certify, responder, bill."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from packcalc.cli_layout import bench_no, end_study, few, layout_options, ruled, sized
from packcalc.door import Command, emit, output_options, progress, tell


as_built_option = click.option(
    "--as-built", "record", metavar="FILE", default="",
    help="CSV of what was really built, to hold against the design.")


class Day(click.ParamType):
    """A day of the calendar, ISO 8601."""

    name = "day"

    def convert(self, value: Any, param: Any, ctx: Any) -> str:
        from packcalc.reading.readings_file import check_date

        check_date("", str(value), lambda wrong, right: self.fail(
            f"{str(value)[:40]!r} is no day: {right}", param, ctx))
        return str(value)


def _page(brief: str, out: str, format_: str | None, table: str | None, quiet: bool,
          page: str, make: Callable[[Any, Any], Any], **layout: Any) -> None:
    from packcalc import api

    study = sized(brief, quiet=quiet, to=(out, format_, table), page=page, **layout)
    bench = api.bench_of(study)
    emit(make(study, bench), out, format_, table, quiet)
    end_study(study, quiet, also=bench_no(bench))


@click.command(cls=Command, short_help="Write the build sheet and the as-built record.")
@click.argument("brief")
@click.option("--form", metavar="FILE", default="",
              help="Write an empty as-built record (CSV) to fill, and end.")
@as_built_option
@layout_options
@output_options
def build(brief: str, form: str, record: str, layout: str, arrangement: str | None,
          module: tuple[int, ...] | None, out: str, format_: str | None, table: str | None,
          quiet: bool) -> None:
    """Write the build sheet of one layout of BRIEF: order of links, joints, as-built record.

    With --as-built the record is read back: another mark or part than designed, and a
    joint that stands out, are flagged, and the signatures name its digest.

    \b
    Example:
      packcalc build mypack/brief.toml --form mypack/as-built.csv
      packcalc build mypack/brief.toml --as-built mypack/as-built.csv
    """
    from packcalc import api
    from packcalc.report.build_report import TITLE, build_document, record_form
    from packcalc.report.commission_report import stopped

    study = sized(brief, layout, arrangement, module, quiet, (out, format_, table), TITLE)
    dealt = dealt_of(study)
    marks = marks_of(study, dealt)
    if form:
        _write_form(form, record_form(study, marks))
        if not quiet:
            tell(f"written: {form}")
        return
    held = held_record(study, record, quiet)
    plan, bench = dealt.balance if dealt else None, api.bench_of(study)
    emit(build_document(study, held, marks, plan, bench), out, format_, table, quiet)
    tell_record(held, quiet)
    end_study(study, quiet, also="; ".join(filter(None, (
        stopped(study), record_no(held), bench_no(bench)))))


def dealt_of(study: Any) -> Any:
    """The bench assignment of the study's layout; None without a bench, or where none fits."""
    from packcalc import api

    salvage = api.salvage_of(study)
    return salvage.dealt if salvage else None


def marks_of(study: Any, dealt: Any) -> dict[str, str]:
    """The mark that the bench assignment gives each module's place; empty without one."""
    from packcalc.handover.as_built import assigned
    from packcalc.handover.build import build_sheet

    return assigned(dealt, build_sheet(study))


def held_record(study: Any, path: str, quiet: bool) -> Any:
    """The as-built record held against its design; None where no file is named."""
    if not path:
        return None
    from packcalc import api
    from packcalc.handover.as_built import assigned, hold, wanted
    from packcalc.handover.build import build_sheet
    from packcalc.reading.as_built_file import read_as_built
    from packcalc.review import design_of, design_today, latest_day, layout_of

    with progress("holding the record against the design", quiet):
        sheet = build_sheet(study)
        record = read_as_built(path, wanted(sheet), design_of(study), latest_day(study),
                               (layout_of(study), study.brief.digest),
                               lambda design, begun: design_today(design, study, begun))
        salvage = api.salvage_of(study)
        return hold(sheet, record, assigned(salvage.dealt if salvage else None, sheet),
                    salvage.lot if salvage else None)


def record_no(held: Any) -> str:
    """Why a record makes the answer a no: a deviation that the reviewer must see; or ""."""
    if held is None or not held.grave:
        return ""
    count, names = len(held.grave), list(dict.fromkeys(d.id for d in held.grave))
    on = f" on {len(names)} line{'s' if len(names) != 1 else ''}" if count > len(names) else ""
    return f"{count} deviation{'s' if count != 1 else ''} from the design{on}: {few(names)}"


def tell_record(held: Any, quiet: bool) -> None:
    """Which lines of the build sheet a record leaves out or blank; neither is a deviation."""
    if held is None or quiet:
        return
    for words, names in (("left out of the record", held.missing),
                         ("not filled yet", held.unfilled)):
        if names:
            tell(f"{held.record.place}: {len(names)} line{'s' * (len(names) > 1)} of the build "
                 f"sheet {words}: {few(names)}")


@click.command(cls=Command, short_help="Stage the first energising; compare readings.")
@click.argument("brief")
@click.option("--readings", metavar="FILE", default="",
              help="CSV of dated readings to hold against their bands and baseline.")
@click.option("--form", metavar="FILE", default="",
              help="Write an empty form for the readings (CSV), and end.")
@click.option("--date", "day", type=Day(), metavar="DAY",
              help="Day, like 2026-11-24, to which what is overdue is counted; today when not "
                   "given.")
@layout_options
@output_options
def commission(brief: str, readings: str, form: str, day: str | None, layout: str,
               arrangement: str | None, module: tuple[int, ...] | None, out: str,
               format_: str | None, table: str | None, quiet: bool) -> None:
    """Write the stages of the first energising, with gates and expected readings.

    With --readings each reading is held against its band, against its like, and
    against its baseline; what its trend says is overdue counts to today, or --date.

    \b
    Example:
      packcalc commission mypack/brief.toml --form mypack/readings.csv
      (fill in what was read, then)
      packcalc commission mypack/brief.toml --readings mypack/readings.csv
    """
    from packcalc import api
    from packcalc.report import commission_report
    from packcalc.review import latest_day

    study = sized(brief, layout, arrangement, module, quiet, (out, format_, table),
                  commission_report.TITLE)
    dealt = dealt_of(study)
    if form:
        _write_form(form, commission_report.form(study, dealt))
        if not quiet:
            tell(f"written: {form}")
        return
    file = _readings_of(study, readings)
    if file is not None and not file.design and not quiet:
        tell(f"{file.place}: {commission_report.UNBOUND}")
    day = day or latest_day(study)
    asked = commission_report.asked(study, file, dealt, day) if file is not None else ""
    if asked and not quiet:
        tell(f"{file.place}: {asked}")
    bench = api.bench_of(study)
    emit(commission_report.commission_document(study, file, dealt, bench, day), out, format_,
         table, quiet)
    why = commission_report.answer(study, file, dealt) if file is not None else \
        commission_report.stopped(study)
    end_study(study, quiet, also="; ".join(filter(None, (why, bench_no(bench)))))


def _write_form(path: str, text: str) -> None:
    """Write an empty form; a file that is there may hold readings and is left alone."""
    import os

    from packcalc.errors import OutputError
    from packcalc.report.render import write_text

    if os.path.exists(path):
        raise OutputError(f"{path}: is there already and may hold readings; name a new file")
    write_text(path, text)


def _readings_of(study: Any, path: str) -> Any:
    if not path:
        return None
    from packcalc.handover.commission import plan_of
    from packcalc.reading.readings_file import Bound, read_readings
    from packcalc.review import design_of, design_today, latest_day, layout_of, named_before

    own, before = design_of(study), named_before(study)
    now = own if design_today(before, study) == own else ""
    bound = Bound(own, layout_of(study), latest_day(study), (before, now))
    return read_readings(path, plan_of(study).dimensions, bound)


@click.command(cls=Command, short_help="Intervals, readings to repeat, what to do after events.")
@click.argument("brief")
@layout_options
@output_options
def maintain(brief: str, **given: Any) -> None:
    """Write the maintenance page of one layout of BRIEF.

    \b
    Example:
      packcalc maintain mypack/brief.toml --out mypack/maintain.html
    """
    from packcalc.report.maintain_report import TITLE, maintain_document

    _page(brief, page=TITLE, make=maintain_document, **given)


@click.command(cls=Command, short_help="Write the certifier's file, filled where packcalc knows.")
@click.argument("brief")
@click.option("--rules", metavar="SET", default="common core", show_default=True,
              help="Rule set whose own items and clauses are added, e.g. new-zealand.")
@layout_options
@output_options
def certify(brief: str, rules: str, **given: Any) -> None:
    """Write the list of documents that certifiers ask for, filled where packcalc knows.

    \b
    Example:
      packcalc certify mypack/brief.toml --rules australia --out papers.html
    """
    from packcalc.report.certify_report import TITLE, certify_document

    ruled(rules)
    _page(brief, page=TITLE, make=lambda study, bench: certify_document(study, rules, bench),
          **given)


@click.command(cls=Command, short_help="Write the one-page sheet for emergency services.")
@click.argument("brief")
@layout_options
@output_options
def responder(brief: str, **given: Any) -> None:
    """Write the page for emergency services, with blanks for places and pictures.

    \b
    Example:
      packcalc responder mypack/brief.toml --out mypack/responder.html
    """
    from packcalc.report.responder_report import TITLE, responder_document

    _page(brief, page=TITLE, make=responder_document, **given)


@click.command(cls=Command, short_help="Write the bill of materials.")
@click.argument("brief")
@layout_options
@output_options
def bill(brief: str, **given: Any) -> None:
    """Write the bill of materials of one layout of BRIEF.

    \b
    Example:
      packcalc bill mypack/brief.toml --format csv --table bill
    """
    from packcalc.report.bill_report import TITLE, bill_document

    _page(brief, page=TITLE, make=bill_document, **given)


def register(main: click.Group) -> None:
    """Hang the commands of the handover on the command line."""
    for command in (build, commission, maintain, certify, responder, bill):
        main.add_command(command)

"""What a page holds by the thousand, written without a template: rows of tables, worked steps.

A template takes twice as long, and most of a review file's page is this. Every text goes
through `escaped`.
"""

from __future__ import annotations

import re
from typing import Any

from packcalc.findings import Finding
from packcalc.marks import NOT_MARKED
from packcalc.report.document import TO_FILL, Table
from packcalc.report.steps import Step, result

# In a narrow cell a unit would else stand alone on the next line.
_UNIT = re.compile(r"(?<=\d) (?=[^\W\d]|[°%/])")
SHORT_CELL = 30
LEAF, LINK, NESTED = "leaf", "link", "nested"
NOTHING = '""'


def escaped(text: str) -> str:
    """Text as HTML shows it, between tags and inside a quoted attribute.

    Examples:
        >>> escaped("<b> & 'c' \\"d\\"")
        '&lt;b&gt; &amp; &#39;c&#39; &#34;d&#34;'
    """
    return (text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
            .replace("'", "&#39;").replace('"', "&#34;"))


# -- tables -----------------------------------------------------------------------------------


def rows(table: Table, ids: list[str]) -> str:
    """Every row of a table.

    Args:
        table: any but one of decisions.
        ids: of the rows, or none.
    """
    tags = [_cell_tags(place, column.key, column.align)
            for place, column in enumerate(table.columns)]
    verdict = next((n for n, column in enumerate(table.columns) if column.key == "verdict"), -1)
    out = []
    for place, row in enumerate(table.rows):
        out.append(f'<tr id="{ids[place]}">' if ids else "<tr>")
        for number, ((start, end), cell) in enumerate(zip(tags, row)):
            if cell.text == TO_FILL:
                start = "<td class=fill>"
            text = escaped(_joined(cell.text))
            out.append(start + (_graver(text) if number == verdict else text) + end)
        out.append("</tr>\n")
    return "".join(out)


def _joined(text: str) -> str:
    """A short text in which no line ends between a number and its unit.

    Examples:
        >>> _joined("12.00 V").split(" ")
        ['12.00\\xa0V']
    """
    return _UNIT.sub("\u00a0", text) if len(text) <= SHORT_CELL else text


def _cell_tags(place: int, key: str, align: str) -> tuple[str, str]:
    """Start and end tag of a cell; the first of a row heads it.

    A scope need not be written: HTML takes a heading cell of a row with other cells, in a column
    of heading cells, for the row's, and one of a row of heading cells for the column's.
    """
    # Short attributes stand without quotation marks, as HTML allows: there are thousands.
    kind = " class=n" if align == "right" else " class=v" if key == "verdict" else ""
    return (f"<td{kind}>", "</td>") if place else (f"<th{kind}>", "</th>")


def _graver(verdict: str) -> str:
    return "<b>fail</b>" if verdict == "fail" else verdict


def decision_rows(table: Table, page: Any) -> str:
    """Every row of a table of decisions, which takes marks."""
    return "".join(_decision(row, page) for row in page.decided(table))


def _decision(row: dict[str, Any], page: Any) -> str:
    shown = {name: escaped(text) for name, text in row["text"].items()}
    standing = "" if row["standing"] == NOT_MARKED else \
        f' data-standing="{escaped(row["standing"])}"'
    also = f'<p class=worked>also: {escaped("; ".join(row["also"]))}</p>' if row["also"] else ""
    chains = ", ".join(_number(page, page.steps[key]) for key in row["chain"])
    worked = f'<p class=worked>worked: {chains}</p>' if chains else ""
    mark = shown["mark"] if row["marks"] else escaped(row["standing"])
    return (
        f'<tr id="d-{escaped(row["decision"])}" data-d={row["digest"]} '
        f'data-p={page.part_numbers(row)} '
        f'data-b={page.grounds(row["grounds"]) or NOTHING}{standing}>\n'
        f'<th>{row["number"]}</th>\n'
        f'<td><p>{escaped(row["part"])}: {escaped(row["what"])}</p><p>{shown["figure"]}</p>'
        f'{also}{worked}</td>\n'
        f'<td class=v>{_graver(escaped(row["verdict"]))}</td>\n'
        f'<td>{shown["basis"]}</td>\n<td><p>{mark}</p></td>\n</tr>\n')


# -- chains -----------------------------------------------------------------------------------


def worked(step: Step, page: Any, *, chain: bool = False) -> str:
    """A step in its own place: of a chain that the document unfolds, or shared by several."""
    mark = f" id={page.mark(step)}"
    grounds = f" data-b={page.grounds(step.finding.grounds())}" if chain else ""
    number = str(page.number(step))
    said = f". {escaped(step.finding.title)}: <b>{escaped(result(step.finding))}</b> " \
        f"({_ground(step)})"
    twin = page.twin(step) if chain else None
    if twin is not None:
        return (f"<p class=chain{mark}{grounds}>{number}{said}, worked at "
                f"{_number(page, twin)}</p>\n")
    like = page.like(step)
    if like is not None:
        return (f"<p class=chain{mark}><span id=n{number}>{number}</span>{said}"
                f"{_over(*like, page)}</p>\n")
    return (f"<details class=chain{mark}{grounds}><summary id=n{number}>{number}{said}"
            f"</summary>\n{_inside(step, page)}</details>\n")


def _inside(step: Step, page: Any) -> str:
    """Inputs and lines of a step."""
    inputs = [f"<li>{_input(*one, page)}</li>\n" for one in page.inputs(step)]
    out = [f"<div><ul>\n{''.join(inputs)}</ul><dl>" if inputs else "<div><dl>"]
    for label, words in page.lines(step):
        told = f"{_cited(step.finding)}{escaped(words.removeprefix(step.finding.source))}" \
            if label == "source" else escaped(words)
        out.append(f"<dt>{label}</dt><dd>{told}</dd>\n")
    return "".join([*out, "</dl></div>"])


def _input(how: str, symbol: str, step: Step, page: Any) -> str:
    """One input of a step: an entry, a link to where it is worked, or its whole step."""
    finding = step.finding
    said = f"{escaped(symbol)} = {escaped(finding.shown)}, {escaped(finding.title)}"
    like = page.like(step) if how == NESTED else None
    if like is not None:
        return f"{said} ({_ground(step)}){_over(*like, page)}"
    if how == NESTED:
        return (f"<details><summary>{said} ({_ground(step)})</summary>\n"
                f"{_inside(step, page)}</details>\n")
    told = [finding.basis]
    if finding.origin and (how == LEAF or step.is_leaf and finding.origin.line):
        told.append(escaped(str(finding.origin)))
    if how == LINK:
        return f"{said} ({'; '.join(told)}; see {_number(page, step)})"
    told += [_cited(finding)] if finding.source else []
    told += [escaped(finding.note)] if finding.note else []
    return f"{said} ({'; '.join(told)})"


def _over(like: Step, inputs: list[tuple[str, str, Step]], page: Any) -> str:
    """Where the same is worked already, and what is another entry here."""
    told = "; ".join(_input(*one, page) for one in inputs)
    return f", worked at {_number(page, like)}{f' with {told}' if told else ''}"


def _ground(step: Step) -> str:
    basis = step.finding.basis
    return basis if step.weakest == basis else f"{basis}, rests on {step.weakest}"


def _number(page: Any, step: Step) -> str:
    """The number of the place that works a step, as a link."""
    goal = page.goal(step)
    return f"<a href=#n{goal}>{goal}</a>"


def _cited(finding: Finding) -> str:
    key = escaped(finding.source)
    return f"<a href=#source-{key}>{key}</a>"

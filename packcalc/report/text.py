"""The document as plain text, never wider than 80 columns.

A table that does not fit is wrapped; one that cannot be wrapped becomes blocks of
columns below each other (numbers) or a record for each row (words).
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from packcalc.report.document import (
    Block, Bullets, Chain, Column, Document, Facts, Figure, Paragraph, Table,
)
from packcalc.report.steps import (
    OF_A_RULE,
    Step,
    apart,
    below,
    ground,
    inputs_of,
    likes,
    new_note,
    result,
    rule_told,
    slug,
    steps,
    twins,
    wordy,
)

WIDTH = 80
GAP = 2
LABEL = 9  # "governing", "safe side"
NUMBER = "No."
NOTHING = ("", "–")  # what a record leaves out: that no value stands there
NARROWEST_WORDS = 16  # a column of words narrower than this reads worse than a record
GLUE = "\u00a0"

_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=[A-Za-zΩµ°%²/√]{1,5}\b|[%°])"
                              r"|(?<=\[) (?=\])|(?<=\[ \]) ")  # and a box to tick with its words


def render(document: Document) -> str:
    """The document as text: cautions in short first, in full at the end."""
    page = _Page(document)
    out = [document.title, "=" * min(WIDTH, len(document.title))]
    if len(document.title) > WIDTH:
        out = [*_wrap(document.title), "=" * WIDTH]
    out += _wrap(document.subtitle)
    out += ["", *_wrap(document.short), ""]
    for _, label, words in document.meta:
        out += _labelled(label, words, indent=0, width=max(LABEL, _label_width(document)))
    for section in document.sections:
        out += ["", "", *_heading(section.title, section.level)]
        for block in section.blocks:
            out += ["", *page.block(block)]
    out += ["", "", *_heading("Cautions", 1)]
    out += ["", *_bullets(document.cautions, ordered=True), "", *_wrap(document.deference)]
    return "\n".join(line.rstrip().replace(GLUE, " ") for line in out) + "\n"


def _label_width(document: Document) -> int:
    return min(30, max((len(label) for _, label, _ in document.meta), default=0))


def _heading(title: str, level: int) -> list[str]:
    found = _wrap(title)
    return [*found, ("-" if level == 1 else ".") * max(len(line) for line in found)]


def _wrap(text: str, width: int = WIDTH, indent: str = "", hanging: str | None = None) -> list[str]:
    glued = _NUMBER_AND_UNIT.sub(GLUE, " ".join(text.split()))
    if glued and len(indent) + len(glued) <= width:
        return [indent + glued]
    # a hyphen ends a line only where a word is wider than its column
    narrow = any(len(word) > width for word in glued.split())
    return textwrap.wrap(glued, width, initial_indent=indent, break_on_hyphens=narrow,
                         subsequent_indent=indent if hanging is None else hanging)


def _labelled(label: str, words: str, *, indent: int = 2, width: int = LABEL) -> list[str]:
    """One "label  words" entry with the words wrapped beside the label."""
    if len(label) > width:
        return [*_wrap(label, indent=" " * indent),
                *_wrap(words, indent=" " * (indent + width + GAP))]
    head = " " * indent + label.ljust(width + GAP)
    return _wrap(words, indent=head, hanging=" " * len(head)) or [head]


def _bullets(items: Sequence[str], *, ordered: bool = False) -> list[str]:
    out = []
    for number, item in enumerate(items, 1):
        mark = f"{number}. " if ordered else "- "
        out += _wrap(item, indent=mark, hanging=" " * len(mark))
    return out or ["(none)"]


class _Page:
    """Prints blocks; remembers which steps have been printed."""

    def __init__(self, document: Document):
        self.steps = steps(document)
        self.printed: set[str] = set()
        self.rules: set[str] = set()  # whose range and safe side are told already
        self.entries: set[str] = set()  # of long words, printed already
        self.likes = likes(self.steps)
        self.twins = twins([self.steps[chain.key] for chain in document.chains()])

    def block(self, block: Block) -> list[str]:
        if isinstance(block, Table):
            return _table(block)
        if isinstance(block, Facts):
            return _facts(block)
        if isinstance(block, Paragraph):
            return _paragraph(block.text, block.kind)
        if isinstance(block, Bullets):
            return _bullets(block.items, ordered=block.ordered)
        if isinstance(block, Figure):
            return _figure(block)
        return self.chain(block)

    def chain(self, chain: Chain) -> list[str]:
        """The chain's own step, then each computed step under it not printed before."""
        step = self.steps[chain.key]
        if chain.key in self.twins:
            return _wrap(f"{step.finding.title} [{step.id}]: {result(step.finding)}; worked at "
                         f"[{self.twins[chain.key]}]", hanging="  ")
        out = self._step(step, indent=0)
        for step in below(chain.key, self.steps, self.printed):
            out += ["", *self._step(step, indent=1)]
        return out

    def _step(self, step: Step, indent: int) -> list[str]:
        margin = " " * indent
        said = f"{step.finding.title} [{step.id}]: {result(step.finding)}"
        like = self.steps.get(self.likes.get(step.id, ""))
        if like is not None:
            return [*_wrap(f"{said} ({ground(step)}); worked at [{like.id}]", indent=margin,
                           hanging=margin + "  "),
                    *self._inputs(apart(step, like, self.steps), margin, "with")]
        out = _wrap(said, indent=margin, hanging=margin + "  ")
        out += self._inputs(inputs_of(step, self.steps), margin, "inputs")
        told = rule_told(step, self.rules)
        for label, words in step.lines:
            if label == "result" or label == "note" and not new_note(step, self.steps):
                continue
            if label in OF_A_RULE and told:
                continue
            if label == "source" and told and step.chain is None:
                words = step.finding.source
            out += _labelled(label, words, indent=indent + 1)
        return out


    def _inputs(self, taken: list[tuple[str, Step]], margin: str, head: str) -> list[str]:
        out = [f"{margin} {head}"] if taken else []
        for symbol, item in taken:
            known = item.id in self.entries
            if wordy(item):
                self.entries.add(item.id)
            out += _wrap(_input(symbol, item, known), indent=margin + "  ",
                         hanging=margin + "    ")
        return out


def _input(symbol: str, step: Step, known: bool) -> str:
    """An input as words; one of long words that is `known` already is pointed at by its id."""
    finding = step.finding
    if not step.is_leaf or step.chain or known:
        named = slug(finding.title) in step.id  # then the id says the title
        return f"{symbol}: {'' if named else f'{finding.title}; '}see [{step.id}]"
    origin = f", {finding.origin}" if finding.origin else ""
    source = f", {finding.source}" if finding.source else ""
    note = f" ({finding.note})" if finding.note else ""
    mark = f" [{step.id}]" if wordy(step) else ""
    return f"{symbol}: {finding.title}{mark}; {finding.basis}{origin}{source}{note}"


def _paragraph(text: str, kind: str) -> list[str]:
    mark = {"caution": "CAUTION: ", "open": "OPEN: "}.get(kind, "")
    if mark and text.upper().startswith(mark.strip(": ")):
        mark = ""
    return _wrap(mark + text)


def _facts(facts: Facts) -> list[str]:
    width = min(34, max((len(label) for _, label, _ in facts.rows), default=0))
    out = _wrap(facts.caption)
    for _, label, cell in facts.rows:
        out += _labelled(label, cell.text, width=width)
    return out


def _figure(figure: Figure) -> list[str]:
    out = [*_wrap(f"Figure: {figure.caption}"), *_wrap(figure.text)]
    return [*out, "", *_table(figure.data)] if figure.data else out


def _table(table: Table) -> list[str]:
    out = _wrap(table.caption)
    if not table.rows:
        return [*out, "  (none)", *_wrap(table.note)]
    head = [" ".join(column.title.split()) for column in table.columns]
    body = [[" ".join(cell.text.split()) for cell in row] for row in table.rows]
    widths = _fit(table.columns, head, body)
    if widths is not None:
        out += _grid(table.columns, head, body, widths)
    elif len(head) == 1 or any(column.wide for column in table.columns):
        out += _records(head, body)
    else:
        out += _stacked(table.columns, head, body)
    return [*out, *_wrap(table.note)]


def _fit(columns: Sequence[Column], head: list[str], body: list[list[str]]) -> list[int] | None:
    """A width for each column so that the table fits, or None when it cannot."""
    room = WIDTH - GAP * (len(columns) - 1)
    texts = [[title, *(row[i] for row in body)] for i, title in enumerate(head)]
    widths = [max(1, *map(len, column)) for column in texts]
    least = [_least(column, *words) for column, words in zip(columns, texts, strict=True)]
    while sum(widths) > room:
        spare = [(width - low, i) for i, (width, low) in enumerate(zip(widths, least, strict=True))]
        most, widest = max(spare)
        if most <= 0:
            return None
        # Take from the column with most to give, at most down to the next one.
        widths[widest] -= max(1, min(most, sum(widths) - room) // 2)
    return widths


def _least(column: Column, title: str, *cells: str) -> int:
    words = max((len(word) for word in title.split()), default=1)
    if column.wide:
        natural = max(map(len, cells), default=0)
        return max(words, min(natural, NARROWEST_WORDS))
    return max(words, *(len(cell) if len(cell) <= NARROWEST_WORDS
                        else max(len(word) for word in cell.split()) for cell in cells))


def _grid(columns: Sequence[Column], head: list[str], body: list[list[str]],
          widths: list[int]) -> list[str]:
    def fold(row: list[str]) -> list[list[str]]:
        return [_wrap(text, width) or [""] for text, width in zip(row, widths, strict=True)]

    def print_row(folded: list[list[str]], *, at_bottom: bool = False) -> list[str]:
        height = max(map(len, folded))
        out = []
        for line in range(height):
            cells = []
            for column, width, words in zip(columns, widths, folded, strict=True):
                place = line - (height - len(words) if at_bottom else 0)
                text = words[place] if 0 <= place < len(words) else ""
                cells.append(text.rjust(width) if column.align == "right" else text.ljust(width))
            out.append((" " * GAP).join(cells))
        return out

    rows = [print_row(fold(row)) for row in body]
    airy = 3 * sum(len(row) > 1 for row in rows) > len(rows)
    out = [*print_row(fold(head), at_bottom=True), (" " * GAP).join("-" * w for w in widths)]
    for place, row in enumerate(rows):
        out += ["", *row] if airy and place else row
    return out


def _records(head: list[str], body: list[list[str]]) -> list[str]:
    counted = head[0] == NUMBER and len(head) > 1  # a record is headed by its number and its name
    first = 2 if counted else 1
    width = min(24, max(map(len, head[first:]), default=0))
    out = []
    for row in body:
        headed = f"{row[0]}. {row[1]}" if counted else f"{head[0]}: {row[0]}"
        out += ["", *_wrap(headed, hanging="   " if counted else None)]
        for label, text in zip(head[first:], row[first:], strict=True):
            if text not in NOTHING:
                out += _labelled(label, text, width=width)
    return out


def _stacked(columns: Sequence[Column], head: list[str], body: list[list[str]]) -> list[str]:
    """Blocks of columns below each other, the first column repeated in each."""
    out: list[str] = []
    start = 1
    while start < len(columns):
        end = start + 1
        chosen = [0, start]
        widths = _pick(columns, head, body, chosen)
        if widths is None:
            return _records(head, body)
        while end < len(columns):
            wider = _pick(columns, head, body, [*chosen, end])
            if wider is None:
                break
            chosen, widths, end = [*chosen, end], wider, end + 1
        part = [[row[i] for i in chosen] for row in body]
        out += ["", *_grid([columns[i] for i in chosen], [head[i] for i in chosen], part, widths)]
        start = end
    return out


def _pick(columns: Sequence[Column], head: list[str], body: list[list[str]],
          chosen: list[int]) -> list[int] | None:
    return _fit([columns[i] for i in chosen], [head[i] for i in chosen],
                [[row[i] for i in chosen] for row in body])

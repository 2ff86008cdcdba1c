"""The document as GitHub-flavoured Markdown; every text is escaped."""

from __future__ import annotations

import re
from collections.abc import Sequence

from packcalc.report.document import (
    Block, Bullets, Chain, Document, Facts, Figure, Paragraph, Table,
)
from packcalc.report.steps import Step, below, inputs_of, steps

_SPECIAL = re.compile(r"([\\`*_\[\]<>|~$])")
_LEADING = re.compile(r"^(\d+(?=[.)](?:\s|$))|(?=[#=]|[+\-](?:\s|-|$)))")


def render(document: Document) -> str:
    """The document as Markdown: cautions in short first, in full after the first section."""
    page = _Page(document)
    out = [f"# {escape(document.title)}", ""]
    if document.subtitle:
        out += [_line(document.subtitle), ""]
    out += [f"> **{escape(document.short)}**", ""]
    out += [f"- {escape(label)}: {escape(words)}" for _, label, words in document.meta]
    cautions = ["", "## Cautions", "", *(f"{i}. {escape(text)}" for i, text in
                                         enumerate(document.cautions, 1)),
                "", _line(document.deference)]
    if not document.sections:
        out += cautions
    for place, section in enumerate(document.sections):
        out += ["", "#" * (section.level + 1) + " " + escape(section.title)]
        for block in section.blocks:
            out += ["", *page.block(block)]
        if place == 0:
            out += cautions
    return "\n".join(out) + "\n"


def escape(text: str) -> str:
    """Text that Markdown shows as it stands, on one line."""
    flat = " ".join(text.split()).replace("&", "&amp;")
    return _SPECIAL.sub(r"\\\1", flat)


def _line(text: str) -> str:
    """A paragraph: also nothing at its start may make a heading or a list of it."""
    return _LEADING.sub(r"\1\\", escape(text))


def code(text: str) -> str:
    """A code span, whatever the text holds."""
    flat = " ".join(text.split())
    longest = max((len(run) for run in re.findall("`+", flat)), default=0)
    fence = "`" * (longest + 1)
    pad = " " if flat.startswith("`") or flat.endswith("`") else ""
    return f"{fence}{pad}{flat}{pad}{fence}"


class _Page:
    """Prints blocks; remembers which steps have been printed."""

    def __init__(self, document: Document):
        self.steps = steps(document)
        self.printed: set[str] = set()

    def block(self, block: Block) -> list[str]:
        if isinstance(block, Table):
            return _table(block)
        if isinstance(block, Facts):
            rows = [[escape(label), escape(cell.text)] for _, label, cell in block.rows]
            return [f"**{escape(block.caption)}**", "", *_grid(["Item", "Value"], rows)]
        if isinstance(block, Paragraph):
            return [_paragraph(block)]
        if isinstance(block, Bullets):
            return _bullets(block)
        if isinstance(block, Figure):
            return _figure(block)
        return self.chain(block)

    def chain(self, chain: Chain) -> list[str]:
        """The chain's own step, then each computed step under it not printed before."""
        out = self._step(self.steps[chain.key])
        for step in below(chain.key, self.steps, self.printed):
            out += ["", *self._step(step)]
        return out

    def _step(self, step: Step) -> list[str]:
        out = [f"**{escape(step.finding.title)}** {code('[' + step.id + ']')}", ""]
        for symbol, item in inputs_of(step, self.steps):
            out.append(f"- input {code(symbol)}: {_input(item)}")
        for label, words in step.lines:
            shown = code(words) if label in ("rule", "numbers", "result") else escape(words)
            out.append(f"- {label}: {shown}")
        return out


def _input(step: Step) -> str:
    finding = step.finding
    if not step.is_leaf or step.chain:
        return f"{escape(finding.title)}; see {code('[' + step.id + ']')}"
    words = [finding.basis, str(finding.origin or ""), finding.source]
    note = f" ({escape(finding.note)})" if finding.note else ""
    return f"{escape(finding.title)}; {escape(', '.join(w for w in words if w))}{note}"


def _paragraph(block: Paragraph) -> str:
    mark = {"caution": "Caution", "open": "Open"}.get(block.kind, "")
    if mark and not block.text.lower().startswith(mark.lower()):
        return f"**{mark}:** {escape(block.text)}"
    return f"**{escape(block.text)}**" if block.kind == "lead" else _line(block.text)


def _bullets(block: Bullets) -> list[str]:
    if not block.items:
        return ["(none)"]
    return [f"{f'{i}.' if block.ordered else '-'} {_line(text)}"
            for i, text in enumerate(block.items, 1)]


def _figure(figure: Figure) -> list[str]:
    out = [f"**Figure: {escape(figure.caption)}**", "", _line(figure.text)]
    return [*out, "", *_table(figure.data)] if figure.data else out


def _table(table: Table) -> list[str]:
    rows = [[escape(cell.text) for cell in row] for row in table.rows]
    aligned = [column.align for column in table.columns]
    out = [f"**{escape(table.caption)}**", ""]
    out += _grid([escape(c.title) for c in table.columns], rows, aligned) if rows else ["(none)"]
    return [*out, "", _line(table.note)] if table.note else out


def _grid(head: Sequence[str], rows: Sequence[Sequence[str]],
          aligned: Sequence[str] = ()) -> list[str]:
    rule = ["---:" if align == "right" else "---" for align in aligned or ["left"] * len(head)]
    return ["| " + " | ".join(cells) + " |" for cells in (head, rule, *rows)]

"""The chains of a document as numbered steps, the same for every renderer.

A step is one finding with a stable id. What several chains share becomes one step, so
that a renderer can print it once and point at it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from packcalc.errors import ProgramFault
from packcalc.findings import BASES, Finding, worked
from packcalc.report.document import Chain, Document
from packcalc.value import value_object, worked_once


@value_object
class Step:
    """One finding of a document.

    Attributes:
        id: the chain's key, or a name made from the title.
        finding: the traced value.
        inputs: ids of the steps it was computed from, in the formula's order.
        weakest: the weakest basis in its whole chain.
        chain: the block that unfolds it, if one does.
        uses: how many other steps take it as an input.
    """

    id: str
    finding: Finding
    inputs: tuple[str, ...]
    weakest: str
    chain: Chain | None = None
    uses: int = 0

    @property
    def is_leaf(self) -> bool:
        return not self.inputs

    @worked_once
    def lines(self) -> tuple[tuple[str, str], ...]:
        """What a page prints of the step apart from its inputs: (label, words)."""
        return tuple(_lines(self))


def slug(text: str) -> str:
    """Letters, digits and hyphens only; never empty."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:60] or "step"


def steps(document: Document) -> dict[str, Step]:
    """Every finding of the document by id, inputs before what rests on them."""
    index = _Index(document.chains())
    return index.collect()


class _Index:
    """Gives each distinct finding one id; equal findings with equal inputs are one."""

    def __init__(self, chains: list[Chain]):
        self.chains = chains
        self.by_object: dict[int, str] = {}
        self.by_content: dict[tuple, str] = {}
        self.draft: dict[str, tuple[Finding, tuple[str, ...], str]] = {}
        self.reserved = {chain.key for chain in chains}
        self.roots: dict[int, str] = {}
        self.counted: dict[str, int] = {}  # last number given to a name
        for chain in chains:
            self.roots.setdefault(id(chain.finding), chain.key)
        if len(self.reserved) != len(chains):
            keys = [chain.key for chain in chains]
            twice = sorted({key for key in keys if keys.count(key) > 1})
            raise ProgramFault("chains share a key: " + ", ".join(twice))

    def collect(self) -> dict[str, Step]:
        for chain in self.chains:
            found = self._visit(chain.finding)
            if found != chain.key:
                self._promote(found, chain.key)
        uses = dict.fromkeys(self.draft, 0)
        for _, inputs, _ in self.draft.values():
            for name in set(inputs):
                uses[name] += 1
        blocks = {chain.key: chain for chain in self.chains}
        return {name: Step(name, finding, inputs, weakest, blocks.get(name), uses[name])
                for name, (finding, inputs, weakest) in self.draft.items()}

    def _visit(self, finding: Finding) -> str:
        known = self.by_object.get(id(finding))
        if known is not None:
            return known
        inputs = tuple(self._visit(child) for child in finding.inputs)
        content = (finding.title, finding.symbol, finding.unit, finding.value, finding.basis,
                   finding.source, finding.origin, finding.note,
                   finding.formula.name if finding.formula else "", inputs)
        name = self.by_content.get(content)
        if name is None:
            name = self.roots.get(id(finding)) or self._new_name(finding.title)
            self.by_content[content] = name
            grounds = [finding.basis, *(self.draft[child][2] for child in inputs)]
            self.draft[name] = (finding, inputs, max(grounds, key=BASES.index))
        self.by_object[id(finding)] = name
        return name

    def _new_name(self, title: str) -> str:
        base = slug(title)
        number = self.counted.get(base, 1)
        name = base if number == 1 else f"{base}-{number}"
        while name in self.draft or name in self.reserved:
            number += 1
            name = f"{base}-{number}"
        self.counted[base] = number
        return name

    def _promote(self, found: str, key: str) -> None:
        """A chain whose finding already has another id gets a step of its own as well."""
        self.draft[key] = self.draft[found]


def result(finding: Finding) -> str:
    """Symbol and value, e.g. "I = 3600 A"."""
    return f"{finding.symbol} = {finding.shown if finding.known else 'not known'}"


def reference(finding: Finding) -> str:
    """Clause, equation or table in the finding's source."""
    return finding.formula.where if finding.formula else ""


def ground(step: Step) -> str:
    """The basis of a step and the weakest one that it rests on."""
    own = step.finding.basis
    return own if step.weakest == own else f"{own}; the chain rests on: {step.weakest}"


def _lines(step: Step) -> Iterator[tuple[str, str]]:
    finding, rule = step.finding, step.finding.formula
    if step.chain is not None and step.chain.governing:
        yield "governing", step.chain.governing
    if rule is not None:
        yield "rule", rule.text
        yield "numbers", worked(finding)
    if finding.origin is not None:
        yield "entry", str(finding.origin)
    yield "result", result(finding)
    yield "basis", ground(step)
    if finding.source:
        yield "source", f"{finding.source} {reference(finding)}".strip()
    if rule is not None and rule.valid not in ("", "any"):
        yield "range", rule.valid
    if rule is not None and rule.safe_side:
        yield "safe side", rule.safe_side
    if finding.note:
        yield "note", finding.note


OF_A_RULE = ("range", "safe side")
OFTEN, LONG_WORDS = 3, 60


def rule_told(step: Step, rules: set[str]) -> bool:
    """Whether a page printed range, safe side and clause of a rule before; `rules` then grows."""
    rule = step.finding.formula
    if rule is None:
        return False
    told = rule.name in rules
    rules.add(rule.name)
    return told


def twins(chains: Iterable[Step]) -> dict[str, str]:
    """Each chain whose every line stands under an earlier one already, by the earlier one."""
    first: dict[tuple, str] = {}
    found = {}
    for step in chains:
        if step.is_leaf:
            continue
        said = (step.inputs, step.finding.basis, *step.lines)
        if said in first:
            found[step.id] = first[said]
        else:
            first[said] = step.id
    return found


def likes(known: dict[str, Step]) -> dict[str, str]:
    """Each step that works an earlier one over again, by that one.

    Rule, words and every figure are the same, and so is every input that is computed; only
    entries may come from another place, as where many modules were measured under the same
    conditions. A step that a chain unfolds stands whole, unless it is a twin.
    """
    first: dict[tuple, str] = {}
    found = {}
    for step in known.values():
        f = step.finding
        if f.formula is None or step.chain is not None:
            continue
        inputs = [known[name] for name in step.inputs]
        said = (f.formula.name, f.title, f.symbol, f.unit, f.value, f.basis, f.source, f.note,
                *((one.finding.value, one.finding.unit) if one.is_leaf else one.id
                  for one in inputs))
        if said in first:
            found[step.id] = first[said]
        else:
            first[said] = step.id
    return found


def apart(step: Step, like: Step, known: dict[str, Step]) -> list[tuple[str, Step]]:
    """The inputs, under their symbols, in which a step differs from the one that it is like."""
    return [one for one, name in zip(inputs_of(step, known), like.inputs, strict=True)
            if one[1].id != name]


def wordy(step: Step) -> bool:
    """Whether an entry is printed once and pointed at: long words, used again and again."""
    if not step.is_leaf or step.uses < OFTEN:
        return False
    return len(step.finding.note) + len(str(step.finding.origin or "")) >= LONG_WORDS


def new_note(step: Step, known: dict[str, Step]) -> bool:
    """Whether a step's note says what none of its inputs says already."""
    return not any(step.finding.note in known[name].finding.note for name in step.inputs)


def inputs_of(step: Step, known: dict[str, Step]) -> list[tuple[str, Step]]:
    """Each input of a step with the symbol that the formula gives it."""
    rule = step.finding.formula
    symbols = [i.symbol for i in rule.inputs] if rule else \
        [known[name].finding.symbol for name in step.inputs]
    return [(symbol, known[name]) for symbol, name in zip(symbols, step.inputs, strict=True)]


def below(name: str, known: dict[str, Step], printed: set[str]) -> list[Step]:
    """Computed steps under a step that no chain unfolds, nearest first.

    `printed` names the steps that stand on the page already; it grows by those returned.
    """
    found: list[Step] = []
    queue = [name]
    while queue:
        for child in known[queue.pop(0)].inputs:
            step = known[child]
            if step.is_leaf or step.chain or child in printed:
                continue
            printed.add(child)
            found.append(step)
            queue.append(child)
    return found

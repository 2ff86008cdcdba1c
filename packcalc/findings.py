"""Formulas registered once, and values that keep the chain they came by.

A *formula* is a pure function on SI floats or numpy arrays, decorated with its symbol,
unit, text, range and source. Calling the function gives bare numbers for screening;
`trace` gives a `Finding` that keeps its inputs, so that a report can unfold any figure
down to the user's own entry, a table row or a source.
"""

from __future__ import annotations

import functools
import inspect
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any

from packcalc.errors import OutOfRange, ProgramFault
from packcalc.units import from_si, into_si, show, significant
from packcalc.value import value_object, worked_once

# From the firmest ground to the weakest; the weakest link names a chain's ground.
BASES = (
    "definition", "measured", "given", "read", "computed", "common practice",
    "remembered, consistent", "assumed", "invented", "remembered",
)
NEVER_A_GROUND = ("remembered",)
TO_CONFIRM = ("remembered, consistent", "assumed", "invented")
# How a note says that the value is the least it can be, and that another figure bounds it.
AT_LEAST, BOUNDED = "at least this", "counted until these are known"
OR_LESS, OR_MORE = "; or less: ", "; or more: "
AS_PARTS = f"{AT_LEAST}; not evaluated: "  # of a sum that names its open parts
NO_BOUND = "our assumption, and nothing bounds it"  # ends what is said of an open entry
AT_MOST = "at most this"  # of a current: no device is shown to act on less


@value_object
class Input:
    """One argument of a formula as its text writes it."""

    parameter: str
    symbol: str
    unit: str
    meaning: str


@value_object
class Formula:
    """What is known of one registered formula.

    Attributes:
        name: the function's name.
        title: what it computes, in words.
        symbol, unit: of the result, as printed.
        text: the formula, in the printed units of its inputs.
        inputs: its arguments in the order of the signature.
        valid: range in which it holds, in words.
        safe_side: which side errs safe, in words.
        source: key in the register of sources ("" for a definition).
        where: clause, equation or table.
        basis: one of BASES.
        function: the bare function.
    """

    name: str
    title: str
    symbol: str
    unit: str
    text: str
    inputs: tuple[Input, ...]
    valid: str
    safe_side: str
    source: str
    where: str
    basis: str
    function: Callable[..., Any] = field(repr=False, compare=False)

    @property
    def module(self) -> str:
        return self.function.__module__

    @worked_once
    def parameters(self) -> tuple[str, ...]:
        """The arguments' names, in order."""
        return tuple(i.parameter for i in self.inputs)


_REGISTER: dict[str, Formula] = {}


def formulas() -> dict[str, Formula]:
    """Every formula registered so far, by name (see `packcalc.catalogue` for all)."""
    return dict(sorted(_REGISTER.items()))


def formula(*, title: str, symbol: str, unit: str, text: str, inputs: dict[str, str],
            basis: str, source: str = "", where: str = "", valid: str = "any",
            safe_side: str = "") -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Register a function as a formula and complete its docstring.

    Args:
        title: what it computes, in words.
        symbol: symbol of the result, as in the source.
        unit: printed unit of the result ("" when it has none).
        text: the formula in the printed units of `inputs`.
        inputs: parameter name to "symbol [unit] meaning", in the order of the signature.
        basis: one of BASES; "assumed" is a rule of our own (source "packcalc-rule").
        source: key of the register of sources; empty only for basis "definition".
        where: clause, equation or table in the source; of an own rule, what it takes.
        valid: range in which the formula holds.
        safe_side: which side is the safe one, if the formula errs.
    """

    def register(function: Callable[..., Any]) -> Callable[..., Any]:
        args = tuple(_read_input(name, words) for name, words in inputs.items())
        code = inspect.unwrap(function).__code__  # a signature object would be slow to make
        if code.co_varnames[:code.co_argcount + code.co_kwonlyargcount] != tuple(inputs):
            raise ProgramFault(f"{function.__name__}: registered inputs differ from signature")
        if basis not in BASES or (not source and basis not in ("definition", "common practice")):
            raise ProgramFault(f"{function.__name__}: basis {basis!r} needs a source")
        if function.__name__ in _REGISTER:
            raise ProgramFault(f"two formulas are called {function.__name__}")
        entry = Formula(function.__name__, title, symbol, unit, text, args, valid, safe_side,
                        source, where, basis, function)
        _REGISTER[entry.name] = entry
        function.formula = entry  # type: ignore[attr-defined]
        function.__doc__ = _docstring(function.__doc__ or "", entry)
        return function

    return register


def _read_input(parameter: str, words: str) -> Input:
    symbol, _, rest = words.partition(" [")
    unit, closed, meaning = rest.partition("]")
    if not closed:
        raise ProgramFault(f"input {parameter!r} needs \"symbol [unit] meaning\"")
    return Input(parameter, symbol.strip(), unit.strip(), meaning.strip())


def _docstring(own: str, entry: Formula) -> str:
    summary, _, rest = inspect.cleandoc(own).partition("\n")
    lines = [summary, "", "Formula:", f"    {entry.text}", "", "Parameters (SI):"]
    lines += [f"    {i.parameter}: {i.symbol} [{i.unit or '1'}] {i.meaning}" for i in entry.inputs]
    lines += ["", "Returns:", f"    {entry.symbol} [{entry.unit or '1'}], SI", "",
              "Range:", f"    {entry.valid}"]
    if entry.safe_side:
        lines += ["", "Safe side:", f"    {entry.safe_side}"]
    lines += ["", "Reference:", f"    {entry.source or entry.basis} {entry.where}".rstrip()
              + (f" ({entry.basis})" if entry.source else ""), rest]
    return "\n".join(lines)


@functools.lru_cache(maxsize=1024)
def _file_of(place: str) -> str:
    """A file without its folder: the head of a document names that; other places as they are."""
    path = PurePath(place)
    return path.name if path.suffix in (".toml", ".csv") else place


@dataclass(frozen=True, init=False)  # made by the thousand
class Origin:
    """Where a leaf value comes from: the user's entry, a table row, a record or a rule."""

    place: str
    line: int = 0
    key: str = ""
    text: str = ""

    def __init__(self, place: str, line: int = 0, key: str = "", text: str = "") -> None:
        values = self.__dict__
        values["place"] = place
        values["line"] = line
        values["key"] = key
        values["text"] = text

    def __str__(self) -> str:
        named = _file_of(self.place)
        where = f"{named}:{self.line}" if self.line else named
        key = f" {self.key}" if self.key else ""
        text = f" = {self.text}" if self.text else ""
        return f"{where}{key}{text}"


@dataclass(frozen=True, init=False)  # made by the thousand
class Finding:
    """One traced value.

    Attributes:
        title: what it is, in words.
        symbol, unit: as printed.
        value: SI, or None where nothing is known or asked.
        basis: one of BASES, of this step alone.
        source: key in the register of sources, or "".
        origin: of a leaf.
        formula: of a computed value.
        inputs: the findings it was computed from, in the formula's order.
        note: consequence, corner or caution, in words.
    """

    title: str
    symbol: str
    unit: str
    value: float | None
    basis: str
    source: str = ""
    origin: Origin | None = None
    formula: Formula | None = None
    inputs: tuple["Finding", ...] = ()
    note: str = ""

    def __init__(self, title: str, symbol: str, unit: str, value: float | None, basis: str,
                 source: str = "", origin: Origin | None = None, formula: Formula | None = None,
                 inputs: tuple["Finding", ...] = (), note: str = "") -> None:
        if basis not in BASES:
            raise ProgramFault(f"{title}: no such basis: {basis}")
        values = self.__dict__
        values["title"] = title
        values["symbol"] = symbol
        values["unit"] = unit
        values["value"] = value
        values["basis"] = basis
        values["source"] = source
        values["origin"] = origin
        values["formula"] = formula
        values["inputs"] = inputs
        values["note"] = note

    @property
    def known(self) -> bool:
        return self.value is not None

    @property
    def number(self) -> float:
        """The SI value; a fault of the program when there is none."""
        if self.value is None:
            raise ProgramFault(f"{self.title} was used although it has no value")
        return self.value

    @property
    def shown(self) -> str:
        """Value with unit, to four significant figures."""
        return show(self.value, self.unit)

    @property
    def at_least(self) -> bool:
        """Whether its own note says that the value is the least it can be."""
        return self.note.startswith(AT_LEAST)

    @property
    def least(self) -> str:
        """What stands before the value in a demand that may be more; else nothing."""
        return "at least " if self.or_more else ""

    @property
    def most(self) -> str:
        """What stands before a value that may be less; else nothing."""
        return "at most " if self.or_less else ""

    @property
    def may_be_more(self) -> str:
        """What a value leaves out that may raise it, in words; empty where it is the most."""
        if not self.at_least or BOUNDED in self.note:
            return ""
        return self.note.partition("; governed by")[0]

    @property
    def may_be_less(self) -> str:
        """What a value leaves out that may lower it, in words; empty where it is the least."""
        if OR_LESS not in self.note:  # written out: every check asks
            return ""
        return self.note.partition(OR_LESS)[2].partition("; governed by")[0]

    @property
    def untold_more(self) -> str:
        """What nobody told that may raise a value, in words: no pass rests on it; else empty."""
        if OR_MORE not in self.note:
            return ""
        return self.note.partition(OR_MORE)[2].partition("; governed by")[0]

    @property
    def or_less(self) -> bool:
        """Whether it is only the most that it can be."""
        return bool(self.may_be_less) or self.note.startswith(AT_MOST)

    @property
    def or_more(self) -> bool:
        """Whether it is only the least that it can be."""
        return self.at_least or bool(self.untold_more)

    @property
    def with_end(self) -> str:
        """The value as printed where nothing else says that it is only the least or the most."""
        if not self.known or not (self.or_less or self.or_more):
            return self.shown
        return f"{self.shown} or {'less' if self.or_less else 'more'}"

    @property
    def left_open(self) -> str:
        """What is not known that may lower or raise it, in words; empty where all is.

        It follows the value, or stands in the note of a line that prints it.
        """
        if not self.known:
            return ""
        least, most = (self.note.removeprefix(start).partition("; governed by")[0]
                       .partition(OR_MORE)[0].lstrip(",: ")
                       if self.note.startswith(start) else "" for start in (AT_LEAST, AT_MOST))
        return "; ".join(f"{end}: {why}" for end, why in (
            ("or less", self.may_be_less), ("or less", most),
            ("or more", least), ("or more", self.untold_more)) if why)

    @property
    def told_note(self) -> str:
        """Its note without what is not known of it."""
        return self.note.partition(OR_LESS)[0].partition(OR_MORE)[0]

    def walk(self) -> Iterator["Finding"]:
        """This finding and everything it rests on, each once, inputs first."""
        return iter(self._walked)

    @worked_once
    def _walked(self) -> tuple["Finding", ...]:
        found: dict[int, Finding] = {}
        for child in self.inputs:
            for node in child._walked:
                found.setdefault(id(node), node)
        found.setdefault(id(self), self)
        return tuple(found.values())

    @worked_once
    def first_open(self) -> "Finding | None":
        """The first of the chain, inputs first, that may be more than its value."""
        found = next(filter(None, (child.first_open for child in self.inputs)), None)
        return found or (self if self.may_be_more else None)

    @worked_once
    def sound(self) -> bool:
        """Whether nothing in the chain forbids a pass: none remembered, none that may be more."""
        if self.basis in NEVER_A_GROUND or self.may_be_more:
            return False
        for child in self.inputs:  # written out: every check asks this of both its figures
            if not child.sound:
                return False
        return True

    def grounds(self) -> set[str]:
        """Every basis in the chain."""
        return {node.basis for node in self.walk()}

    @worked_once
    def weakest(self) -> str:
        """The weakest basis in the chain."""
        if not self.inputs:
            return self.basis
        return max((self.basis, *[child.weakest for child in self.inputs]), key=BASES.index)

    @worked_once
    def words(self) -> str:
        """Rule, source, basis and value on one line, without the place of an entry."""
        # an entry counts to the last figure that was given, a result as it is printed
        value = self.shown if self.inputs or self.value is None else f"{self.value:.9g} {self.unit}"
        rule = self.formula.text if self.formula else self.title
        return f"{self.symbol}={value}:{self.basis}:{self.source}:{rule}"

    def leaves(self) -> list["Finding"]:
        """What the chain ends in."""
        return [node for node in self.walk() if not node.inputs]

    @worked_once
    def guesses(self) -> tuple["Finding", ...]:
        """Of what the chain ends in, what is assumed; each once, in the order of the inputs."""
        if not self.inputs:
            return (self,) if self.basis == "assumed" else ()
        found = {id(node): node for child in self.inputs for node in child.guesses}
        return tuple(found.values())

    @worked_once
    def unbounded(self) -> "Finding | None":
        """The first of the chain, inputs first, that an open entry without any bound may raise.

        A sum that says itself which of its parts are not evaluated has none: see `AS_PARTS`.
        """
        if self.note.startswith(AS_PARTS):
            return None
        for child in self.inputs:  # written out: every check asks this of both its figures
            if child.unbounded is not None:
                return child.unbounded
        return self if self.untold_more.endswith(NO_BOUND) else None

    @worked_once
    def rises(self) -> float:
        """By how much the value grows where all that is unbounded is a hundredth more.

        Zero where that is not known, too.
        """
        if self.value is None or self.note.startswith(AS_PARTS):
            return 0.0
        if self.untold_more.endswith(NO_BOUND):
            return 0.01 * abs(self.value)
        if self.formula is None or self.unbounded is None:
            return 0.0
        grown = [one.number + one.rises for one in self.inputs]
        try:
            change = float(self.formula.function(*grown)) - self.value
        except (ArithmeticError, ValueError, OutOfRange):
            return 0.0
        return 0.0 if math.isnan(change) else change

    def called(self, title: str = "", symbol: str = "", note: str = "") -> "Finding":
        """The same value under another name."""
        # written out: `dataclasses.replace` takes four times as long
        return Finding(title or self.title, symbol or self.symbol, self.unit, self.value,
                       self.basis, self.source, self.origin, self.formula, self.inputs,
                       note or self.note)


def leaf(title: str, symbol: str, unit: str, value: float | None, basis: str, *,
         source: str = "", origin: Origin | None = None, note: str = "") -> Finding:
    """A value that is not computed: given, measured, read from a table, or assumed."""
    return Finding(title, symbol, unit, None if value is None else float(value), basis,
                   source=source, origin=origin, note=note)


def trace(function: Callable[..., Any], title: str = "", *, symbol: str = "", unit: str = "",
          note: str = "", **inputs: Finding) -> Finding:
    """Call a registered formula on findings and keep the chain.

    Args:
        function: a function registered with `formula`.
        title, symbol, unit: how this result is called, where it differs from the formula.
        note: consequence, corner or caution.
        inputs: one finding for each parameter.

    Raises:
        ProgramFault: an input is missing or has no value.
    """
    entry: Formula = function.formula  # type: ignore[attr-defined]
    # Most calls give them in the order of the formula.
    ordered = tuple(inputs.values()) if tuple(inputs) == entry.parameters \
        else _in_order(entry, inputs)
    values = [item.value for item in ordered]
    if None in values:
        values = [item.number for item in ordered]  # tells which
    return Finding(title or entry.title, symbol or entry.symbol, unit or entry.unit,
                   float(function(*values)), entry.basis, entry.source, None, entry, ordered, note)


def _in_order(entry: Formula, inputs: dict[str, Finding]) -> tuple[Finding, ...]:
    try:
        ordered = tuple([inputs[name] for name in entry.parameters])
    except KeyError as missing:
        raise ProgramFault(f"{entry.name} was traced without {missing}") from missing
    if len(inputs) != len(ordered):
        raise ProgramFault(f"{entry.name} was traced with inputs it does not have")
    return ordered


def choose(pick: Callable[[Sequence[Finding]], Finding], candidates: Sequence[Finding],
           title: str, note: str = "") -> Finding:
    """The governing one of several findings; its note names the rivals."""
    usable = [c for c in candidates if c.known]
    if not usable:
        raise ProgramFault(f"{title}: nothing to choose from")
    chosen = pick(usable)
    rivals = "; ".join(f"{c.title} {c.shown}" for c in usable if c is not chosen)
    words = f"governed by: {chosen.title}" + (f" (others: {rivals})" if rivals else "")
    return chosen.called(title, note=f"{note}; {words}" if note else words)


def largest(candidates: Sequence[Finding], title: str, note: str = "") -> Finding:
    """The largest of several findings, kept with its chain; more where one of them may be more."""
    return with_more(choose(lambda c: max(c, key=lambda f: f.number), candidates, title, note),
                     untold_of(candidates))


def untold_of(findings: Iterable[Finding]) -> str:
    """What nobody told that may raise the first of several that may be more; else empty."""
    return next((why for f in findings if (why := f.untold_more)), "")


def with_more(finding: Finding, why: str) -> Finding:
    """A value that may be more by what nobody told; itself where nothing is said of that."""
    if not why or finding.untold_more or not finding.known:
        return finding
    return finding.called(note=f"{finding.note or 'as far as told'}{OR_MORE}{why}")


def with_less(finding: Finding, why: str) -> Finding:
    """A value that may be less by what nobody told as well; itself where nothing is said of it."""
    if not why or not finding.known:
        return finding
    both = "; ".join(dict.fromkeys(filter(None, (finding.may_be_less, why))))
    note = finding.note.partition(OR_LESS)[0]
    return finding.called(note=f"{note or 'as far as told'}{OR_LESS}{both}")


def smallest(candidates: Sequence[Finding], title: str, note: str = "") -> Finding:
    """The smallest of several findings, kept with its chain."""
    return choose(lambda c: min(c, key=lambda f: f.number), candidates, title, note)


def digits_to_reproduce(finding: Finding, result_digits: int = 4) -> int:
    """How many figures of the inputs reproduce the printed result on a pocket calculator.

    At least four; more only where the formula subtracts near-equal numbers.
    """
    if finding.formula is None:
        return result_digits
    wanted = significant(from_si(finding.number, finding.unit), result_digits)
    for digits in range(result_digits, 13):
        if _recomputed(finding, digits, result_digits) == wanted:
            return digits
    return 12


def _recomputed(finding: Finding, digits: int, result_digits: int) -> str:
    assert finding.formula is not None
    values = []
    for argument, item in zip(finding.formula.inputs, finding.inputs, strict=True):
        text = significant(from_si(item.number, argument.unit), digits)
        values.append(into_si(float(text), argument.unit))
    try:
        result = float(finding.formula.function(*values))
    except (ValueError, ZeroDivisionError, OverflowError):
        return ""
    if not math.isfinite(result):
        return ""
    return significant(from_si(result, finding.unit), result_digits)


def worked(finding: Finding) -> str:
    """The numbers put into the formula, e.g. "E = 345.6 V, R = 0.09600 Ω, P = 90000 W"."""
    if finding.formula is None:
        return ""
    digits = digits_to_reproduce(finding)
    return ", ".join(
        f"{argument.symbol} = {show(item.number, argument.unit, digits)}"
        for argument, item in zip(finding.formula.inputs, finding.inputs, strict=True)
    )

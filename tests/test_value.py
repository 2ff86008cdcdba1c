"""Value objects: one constructor for all, as strict as a written one."""

from __future__ import annotations

import inspect
from dataclasses import MISSING, FrozenInstanceError, asdict, dataclass, field, fields, replace

import pytest

from packcalc.checks import Check, Fact
from packcalc.findings import Finding, Origin
from packcalc.report.document import Cell
from packcalc.value import replace as quick_replace
from packcalc.value import value_object, worked_once


@value_object
class Row:
    """Invented."""

    mark: str
    count: int = 1
    seen: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        if self.count < 0:
            raise ValueError("count below zero")


@value_object
class Longer(Row):
    """A row of one field more."""

    place: str = "shelf"


@dataclass(frozen=True)
class Written:
    """The same fields with the constructor that the standard library writes (Python 3.11)."""

    mark: str
    count: int = 1
    seen: list[str] = field(default_factory=list)


@pytest.mark.parametrize("args, given", [
    (("a",), {}), (("a", 2), {}), ((), {"mark": "a"}), (("a",), {"count": 3}),
    (("a", 2, ["x"]), {}), ((), {"seen": ["x"], "count": 2, "mark": "a"})])
def test_it_takes_what_a_written_constructor_takes(args, given):
    assert asdict(Row(*args, **given)) == asdict(Written(*args, **given))


@pytest.mark.parametrize("args, given, words", [
    ((), {}, "wants 'mark'"),
    ((), {"count": 1}, "wants 'mark'"),
    (("a",), {"mark": "b"}, "was given 'mark' twice"),
    (("a",), {"mark": "b", "place": 1}, "was given 'mark' twice"),
    (("a", 1, [], 4), {}, "takes 3 values, not 4"),
    (("a",), {"cuont": 2}, "has no field 'cuont'"),
    ((), {"cuont": 2, "count": 1, "seen": []}, "has no field 'cuont'")])
def test_it_refuses_what_a_written_constructor_refuses(args, given, words):
    with pytest.raises(TypeError, match=words):
        Row(*args, **given)
    with pytest.raises(TypeError):
        Written(*args, **given)


def test_each_object_has_a_list_of_its_own():
    one, other = Row("a"), Row("b")
    one.seen.append("x")
    assert other.seen == []


def test_what_the_class_checks_is_checked():
    with pytest.raises(ValueError, match="below zero"):
        Row("a", -1)
    with pytest.raises(ValueError, match="below zero"):
        replace(Row("a"), count=-1)


def test_a_longer_class_takes_its_own_field_too():
    assert Longer("a", 2, [], "box").place == "box"
    assert Longer("a").place == "shelf" and Longer("a") != Row("a")


@pytest.mark.parametrize("name", ["mark", "count", "odd"])
def test_nothing_is_changed_or_deleted(name):
    one = Row("a")
    with pytest.raises(FrozenInstanceError):
        setattr(one, name, "b")
    with pytest.raises(FrozenInstanceError):
        delattr(one, name)
    assert one == Row("a")


@pytest.mark.parametrize("kind", [Finding, Origin, Check, Fact, Cell])
def test_a_constructor_that_is_written_out_sets_every_field(kind):
    taken = list(inspect.signature(kind).parameters.values())
    assert [(p.name, p.default) for p in taken] == [
        (f.name, inspect.Parameter.empty if f.default is MISSING else f.default)
        for f in fields(kind)]
    given = {p.name: "read" for p in taken}  # a basis as well
    made = kind(**given)
    assert vars(made) == given == {f.name: getattr(made, f.name) for f in fields(kind)}
    assert made == replace(made) and hash(made) == hash(replace(made))
    with pytest.raises(FrozenInstanceError):
        setattr(made, taken[0].name, "x")


def test_the_quicker_copy_is_that_of_the_standard_library():
    row = Row("a")
    changed = quick_replace(row, count=3)
    assert changed == replace(row, count=3) and type(changed) is Row and row == Row("a")
    with pytest.raises(TypeError, match="odd"):
        quick_replace(row, odd=1)
    with pytest.raises(ValueError):
        quick_replace(row, count=-1)


def test_a_property_is_worked_once_and_not_copied():
    asked = []

    @value_object
    class Sum:
        one: int
        other: int

        @worked_once
        def total(self) -> int:
            asked.append(self)
            return self.one + self.other

    found = Sum(1, 2)
    assert (found.total, found.total, len(asked)) == (3, 3, 1)
    kept = hash(found)
    changed = quick_replace(found, one=5)
    assert changed.total == 7 and found == Sum(1, 2)
    assert hash(changed) == hash(Sum(5, 2)) != kept == hash(Sum(1, 2))

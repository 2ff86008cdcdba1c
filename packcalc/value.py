"""The decorator of every value object: a frozen dataclass that is quick to define and to make.

`dataclass(frozen=True)` writes and compiles five methods for each class; with some three
hundred classes that took a fifth of a whole report's time. Here nothing is written for a class:
constructing, comparing, hashing, printing and refusing to be changed are shared. The few classes
of which a report makes thousands stay frozen dataclasses: comparing them is the quicker one. Their
constructors are written out: the standard library's sets each field past the lock of a frozen
class, one by one, and takes three times as long.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, FrozenInstanceError, dataclass, field, fields
from operator import attrgetter
from reprlib import recursive_repr
from typing import Any, Generic, NoReturn, TypeVar, dataclass_transform, overload

T = TypeVar("T")
HASH = "_kept_hash"


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def value_object(cls: type[T]) -> type[T]:
    """The class as a frozen dataclass, equal to another of its class field by field.

    `replace`, `fields` and `asdict` work on it; changing or deleting an attribute
    raises `dataclasses.FrozenInstanceError`. Every field is one of the constructor's.

    >>> @value_object
    ... class Share:
    ...     current: float
    ...     mark: str = ""
    >>> replace(Share(2.0, "M07"), current=3.0)
    Share(current=3.0, mark='M07')
    >>> Share(2.0) == Share(2.0), hash(Share(2.0)) == hash(Share(2.0)), Share(2.0) == 2.0
    (True, True, False)
    >>> Share(2.0).current = 4.0
    Traceback (most recent call last):
    dataclasses.FrozenInstanceError: cannot assign to field 'current'
    >>> Share(mark="M07")
    Traceback (most recent call last):
    TypeError: Share() wants 'current'
    """
    made: Any = dataclass(init=False, repr=False, eq=False)(cls)
    names = tuple(f.name for f in fields(made) if f.compare)
    made._compared = staticmethod(
        attrgetter(*names) if len(names) > 1
        else lambda one: tuple(getattr(one, name) for name in names))
    for own in ("__repr__", "__eq__", "__hash__"):
        if own not in cls.__dict__:
            setattr(made, own, globals()[f"_{own.strip('_')}"])
    made.__init__ = _constructor(made)
    made.__setattr__, made.__delattr__ = _setattr, _delattr
    return made


class worked_once(Generic[T]):  # noqa: N801 - used as a decorator
    """A property worked out once and kept in the object, which never changes.

    `functools.cached_property` does the same but takes a lock, and twice the time.
    """

    def __init__(self, work: Callable[[Any], T]) -> None:
        self._work = work
        self.__doc__ = work.__doc__

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    @overload
    def __get__(self, one: None, owner: type) -> worked_once[T]: ...

    @overload
    def __get__(self, one: object, owner: type) -> T: ...

    def __get__(self, one: object | None, owner: type) -> worked_once[T] | T:
        if one is None:
            return self
        found = one.__dict__[self._name] = self._work(one)
        return found


def replace(one: T, /, **given: Any) -> T:
    """A copy with these fields changed, as `dataclasses.replace` makes it, in half the time.

    Raises:
        TypeError: a name is no field.
    """
    cls: Any = type(one)
    own, known = one.__dict__, cls.__dataclass_fields__
    values = {name: own[name] for name in known}
    values.update(given)
    if len(values) != len(known):
        _refuse(cls, tuple(known), (), given)
    if not hasattr(cls, "_compared"):  # a frozen dataclass with a constructor of its own
        made: T = cls(**values)
        return made
    made = object.__new__(cls)
    made.__dict__.update(values)
    if hasattr(cls, "__post_init__"):
        made.__post_init__()  # type: ignore[attr-defined]
    return made


def _constructor(made: Any) -> Callable[..., None]:
    """A constructor that puts all that it is given into the object at once."""
    names = tuple(f.name for f in fields(made))
    known, count = frozenset(names), len(names)
    plain = {f.name: f.default for f in fields(made) if f.default is not MISSING}
    written = {f.name: f.default_factory for f in fields(made)
               if f.default_factory is not MISSING}
    after = getattr(made, "__post_init__", None)

    def __init__(self: Any, *args: Any, **given: Any) -> None:
        values = self.__dict__
        values.update(zip(names, args))
        values.update(given)
        if len(values) != len(args) + len(given) or not known.issuperset(given):
            _refuse(made, names, args, given)
        if len(values) != count:
            for name in names:
                if name in values:
                    continue
                if name in plain:
                    values[name] = plain[name]
                elif name in written:
                    values[name] = written[name]()
                else:
                    raise TypeError(f"{made.__qualname__}() wants {name!r}")
        if after is not None:
            after(self)

    return __init__


def _refuse(made: Any, names: tuple[str, ...], args: tuple[Any, ...],
            given: dict[str, Any]) -> NoReturn:
    """Tell what a constructor was given that it does not take."""
    if len(args) > len(names):
        raise TypeError(f"{made.__qualname__}() takes {len(names)} values, not {len(args)}")
    twice = next((name for name in names[:len(args)] if name in given), None)
    if twice is not None:
        raise TypeError(f"{made.__qualname__}() was given {twice!r} twice")
    odd = next(name for name in given if name not in names)
    raise TypeError(f"{made.__qualname__}() has no field {odd!r}")


@recursive_repr()
def _repr(self: Any) -> str:
    shown = ", ".join(f"{f.name}={getattr(self, f.name)!r}" for f in fields(self) if f.repr)
    return f"{type(self).__qualname__}({shown})"


def _eq(self: Any, other: object) -> Any:
    if type(other) is not type(self):
        return NotImplemented
    return self._compared(self) == self._compared(other)


def _hash(self: Any) -> int:
    """Kept: an object of many parts is asked for it again and again, and never changes."""
    values = self.__dict__
    if HASH not in values:
        values[HASH] = hash(self._compared(self))
    return values[HASH]  # type: ignore[no-any-return]


def _setattr(self: Any, name: str, new: object) -> NoReturn:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _delattr(self: Any, name: str) -> NoReturn:
    raise FrozenInstanceError(f"cannot delete field {name!r}")

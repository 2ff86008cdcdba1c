"""The decorator of every value object: a frozen dataclass that is quick to define.

`dataclass(frozen=True)` writes and compiles five methods for each class; with some three
hundred classes that took a fifth of a whole report's time. Here the constructor alone is
written for the class; comparing, hashing, printing and refusing to be changed are shared. The
few classes of which a report makes thousands stay frozen dataclasses: their constructor is the
quicker one.
"""

from __future__ import annotations

from dataclasses import FrozenInstanceError, dataclass, field, fields
from operator import attrgetter
from reprlib import recursive_repr
from typing import Any, TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def value_object(cls: type[T]) -> type[T]:
    """The class as a frozen dataclass, equal to another of its class field by field.

    `dataclasses.replace`, `fields` and `asdict` work on it; changing or deleting an attribute
    raises `dataclasses.FrozenInstanceError`.

    >>> from dataclasses import replace
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
    """
    made: Any = dataclass(repr=False, eq=False)(cls)
    names = tuple(f.name for f in fields(made) if f.compare)
    made._compared = staticmethod(
        attrgetter(*names) if len(names) > 1
        else lambda one: tuple(getattr(one, name) for name in names))
    for own in ("__repr__", "__eq__", "__hash__"):
        if own not in cls.__dict__:
            setattr(made, own, globals()[f"_{own.strip('_')}"])
    made.__setattr__, made.__delattr__ = _setattr, _delattr
    return made


@recursive_repr()
def _repr(self: Any) -> str:
    shown = ", ".join(f"{f.name}={getattr(self, f.name)!r}" for f in fields(self) if f.repr)
    return f"{type(self).__qualname__}({shown})"


def _eq(self: Any, other: object) -> Any:
    if type(other) is not type(self):
        return NotImplemented
    return self._compared(self) == self._compared(other)


def _hash(self: Any) -> int:
    return hash(self._compared(self))


def _setattr(self: Any, name: str, new: object) -> None:
    # the constructor sets each field once; nothing sets one again
    if name in self.__dict__ or name not in type(self).__dataclass_fields__:
        raise FrozenInstanceError(f"cannot assign to field {name!r}")
    self.__dict__[name] = new


def _delattr(self: Any, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r}")

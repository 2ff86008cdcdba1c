"""A chain of steps in series as sections between open joints: apart and together.

Joint k lies between step k and step k + 1; a section is a run of steps whose joints are
closed. Teardown opens joints one by one; assembly closes them in the reverse order.
"""

from __future__ import annotations

from collections.abc import Sequence

from packcalc.errors import ProgramFault, UserError
from packcalc.value import replace, value_object


@value_object
class Run:
    """Steps that are joined: first and last, counted from 1 at the minus end."""

    first: int
    last: int

    @property
    def steps(self) -> int:
        return self.last - self.first + 1

    def __str__(self) -> str:
        return f"{self.first}" if self.first == self.last else f"{self.first} to {self.last}"


@value_object
class Chain:
    """Steps in series with the joints that are open.

    Attributes:
        steps: how many.
        opened: joints that are open, 1 to steps − 1.
    """

    steps: int
    opened: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        if self.steps < 1 or any(not 1 <= k < self.steps for k in self.opened):
            raise ProgramFault(f"no such chain: {self.steps} steps, open {sorted(self.opened)}")

    def runs(self) -> tuple[Run, ...]:
        """Joined runs from the minus end."""
        ends = [*sorted(self.opened), self.steps]
        starts = [1, *(end + 1 for end in ends[:-1])]
        return tuple(Run(a, b) for a, b in zip(starts, ends))

    @property
    def longest(self) -> Run:
        """The longest run; of equals the one nearest the minus end."""
        return max(self.runs(), key=lambda run: (run.steps, -run.first))

    def open(self, joint: int) -> Chain:
        """The chain with one more joint open."""
        if joint in self.opened or not 1 <= joint < self.steps:
            raise UserError(f"joint {joint} is not there to open")
        return replace(self, opened=self.opened | {joint})

    def close(self, joint: int) -> Chain:
        """The chain with one joint closed again."""
        if joint not in self.opened:
            raise UserError(f"joint {joint} is not open")
        return replace(self, opened=self.opened - {joint})


def opening_order(steps: int, first: Sequence[int] = (), most_steps: int = 1) -> tuple[int, ...]:
    """Joints in the order in which they are opened.

    Args:
        steps: of the chain.
        first: joints that come first: service plug, then the joints between sections.
        most_steps: a run no longer than this needs no halving for its voltage; it is taken
            apart from its minus end.

    Returns:
        Every joint once: `first`, then the middle of the longest run until none is longer
        than `most_steps`, then what is left in order.

    Examples:
        >>> opening_order(8, (4,), 2)
        (4, 2, 6, 1, 3, 5, 7)
    """
    chain, order = Chain(steps), []
    for joint in dict.fromkeys(first):
        chain, order = chain.open(joint), [*order, joint]
    while chain.longest.steps > max(most_steps, 1):
        run = chain.longest
        joint = run.first + (run.steps - 1) // 2
        chain, order = chain.open(joint), [*order, joint]
    left = [k for k in range(1, steps) if k not in chain.opened]
    return (*order, *left)


def closing_order(steps: int, first: Sequence[int] = (), most_steps: int = 1) -> tuple[int, ...]:
    """Joints in the order in which an assembly closes them: the reverse of `opening_order`.

    Examples:
        >>> closing_order(8, (4,), 2)[-1]
        4
    """
    return tuple(reversed(opening_order(steps, first, most_steps)))

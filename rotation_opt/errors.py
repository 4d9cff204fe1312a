"""Faults a user can put right, and the exit code each one carries."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

LONG_LIST = 200  # letters from which on a list of what is allowed is told once only


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file, in the grower's words.

    Parameters
    ----------
    place : str
        Where it stands: file, block and key, e.g. ``farm.toml, field "Home 40", area``.
    found : str
        What was found there, as written.
    allowed : str
        What would have been accepted.
    hint : str
        Nearest spelling or other help; empty if there is none.
    """

    place: str
    found: str
    allowed: str
    hint: str = ""

    def __str__(self) -> str:
        text = f"{self.place}: found {self.found}; {self.allowed}."
        return f"{text} {self.hint}" if self.hint else text


class RotationOptError(Exception):
    """Anything the user can put right. Other exceptions are our own defects."""

    exit_code = 1


class InputError(RotationOptError):
    """A file that cannot be used; carries every fault found in it.

    Parameters
    ----------
    faults : sequence of Fault
        All faults, in the order of the file.
    """

    exit_code = 1

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(_lists_once(faults))
        super().__init__("\n".join(str(fault) for fault in self.faults))


def _lists_once(faults: Iterable[Fault]) -> Iterator[Fault]:
    """The same faults; a long list of what is allowed is not told a second time."""
    told: set[str] = set()
    for fault in faults:
        what, _, names = fault.allowed.partition(": ")
        if names in told:
            yield replace(fault, allowed=f"{what}, as listed above")
        else:
            yield fault
        if len(names) >= LONG_LIST:
            told.add(names)


class TableError(RotationOptError):
    """A crop table that is broken: a missing figure, an unknown source, a value out of range."""

    exit_code = 1


class NoPlanError(RotationOptError):
    """No plan meets all limits; says which limits clash.

    Parameters
    ----------
    message : str
        One sentence for the grower.
    limits : sequence of str
        The clashing limits, each in the grower's words.
    nearest : tuple of tuple of int
        Practice indices, field by field, of the plan that breaks least; empty if not known.
    """

    exit_code = 3

    def __init__(
        self, message: str, limits: Sequence[str] = (), nearest: tuple[tuple[int, ...], ...] = ()
    ) -> None:
        self.limits, self.nearest = tuple(limits), nearest
        lines = [message, *(f"  - {limit}" for limit in self.limits)]
        super().__init__("\n".join(lines))

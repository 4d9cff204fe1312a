"""Names given on the command line: found by any usual word, or answered with the nearest one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import click

from rotation_opt import words
from rotation_opt.records import Farm, Result
from rotation_opt.tables import Tables


def pick(option: str, wanted: str, names: Mapping[str, Iterable[str]]) -> str:
    """Key of the thing that is meant.

    Raises
    ------
    click.BadParameter
        If there is none; says what there is and which comes nearest.
    """
    found = words.find(wanted, names)
    if found is not None:
        return found
    near = words.nearest(wanted, names)
    hint = f"Did you mean {near}?" if near else f"There is {words.listed(list(names), 'and')}."
    raise click.BadParameter(f"there is no {wanted!r}. {hint}", param_hint=option)


def field(farm: Farm, wanted: str) -> str:
    return pick("--field", wanted, {field.name: () for field in farm.fields})


def practice(tables: Tables, wanted: str) -> str:
    names = {key: (one.name_us, one.name_uk) for key, one in tables.practices.items()}
    return pick("--practice", wanted, names)


def weed(tables: Tables, wanted: str) -> str:
    names = {key: (one.latin, one.name_us, one.name_uk) for key, one in tables.weeds.items()}
    return pick("--weed", wanted, names)


def any_title(wanted: str) -> None:
    """Turn down what no plan is ever called, before the long work begins."""
    from rotation_opt.alternatives import TITLES

    letters = "ABCDEFGHIJ"
    pick("--show", wanted, {said: (key, letters[n]) for n, (key, said) in enumerate(TITLES.items())})


def title(result: Result, wanted: str) -> str:
    """Title of an alternative, by title, key or letter."""
    names = {
        plan.title: (plan.key, letter)
        for plan, letter in zip(result.alternatives, "ABCDEFGHIJ", strict=False)
    }
    return pick("--show", wanted, names)

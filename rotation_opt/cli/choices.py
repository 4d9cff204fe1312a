"""Names given on the command line: found by any usual word, or answered with the nearest one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import click

from rotation_opt import words
from rotation_opt.records import Farm, Result
from rotation_opt.report.files import KINDS, OF_ONE_PLAN
from rotation_opt.report.printout import PAGES
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


def field(farm: Farm, wanted: str, option: str = "--field") -> str:
    return pick(option, wanted, {field.name: () for field in farm.fields})


def machine(option: str, tables: Tables, wanted: str) -> str:
    return pick(option, wanted, {key: (one.name_us, one.name_uk) for key, one in tables.machines.items()})


def crop(option: str, tables: Tables, wanted: str) -> str:
    return pick(option, wanted, _crops(tables))


def _crops(tables: Tables) -> dict[str, tuple[str, ...]]:
    return {key: (one.name_us, one.name_uk, one.short_us, one.short_uk) for key, one in tables.crops.items()}


def buyer(farm: Farm, tables: Tables, wanted: str) -> dict[str, str]:
    """What is meant by a buyer who is gone: one outlet of the farm, else all that buy a crop."""
    outlets: dict[str, tuple[str, ...]] = {outlet.name: () for outlet in farm.outlets}
    named = words.find(wanted, outlets)
    if named is not None:
        return {"outlet": named}
    found = pick("--no-buyer", wanted, {**_crops(tables), **outlets})
    return {"outlet": found} if found in outlets else {"crop": found}


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


ALL = "all"


def pages(wanted: Sequence[str]) -> tuple[str, ...]:
    """Keys of the pages asked for; ``all`` stands for every one."""
    names: dict[str, tuple[str, ...]] = {key: (said,) for key, said in PAGES.items()}
    picked = [pick("--page", name, {**names, ALL: ()}) for name in wanted]
    return tuple(PAGES) if ALL in picked else tuple(picked)


def kinds_of_file(paths: Sequence[Path], shown: Sequence[str]) -> None:
    """Turn down, before the long work begins, a kind of file there is none of, or a calendar of no one plan.

    Raises
    ------
    click.BadParameter
    """
    for path in paths:
        kind = path.suffix.lower()
        if kind not in KINDS:
            said = ", ".join(f"{ending} ({what})" for ending, what in KINDS.items())
            raise click.BadParameter(f"{path.name}: the name ends in none of {said}.", param_hint="--save")
        if kind == OF_ONE_PLAN and len(shown) != 1:
            raise click.BadParameter(
                f"{path.name}: a calendar is of one plan; say which with --show.", param_hint="--save"
            )

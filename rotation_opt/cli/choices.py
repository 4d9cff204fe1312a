"""Names given on the command line: found by any usual word, or answered with the nearest one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import click

from rotation_opt import words
from rotation_opt.farm.names import Kind, Names
from rotation_opt.records import Farm, Result
from rotation_opt.report.files import KINDS, OF_ONE_PLAN
from rotation_opt.report.followup import KEY as FOLLOWUP
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
    raise _unknown(option, wanted, hint)


def field(farm: Farm, wanted: str, option: str = "--field") -> str:
    return pick(option, wanted, {field.name: () for field in farm.fields})


def machine(option: str, farm: Farm, tables: Tables, wanted: str) -> str:
    return _named(option, "machine", farm, tables, wanted)


def crop(option: str, farm: Farm, tables: Tables, wanted: str) -> str:
    return _named(option, "crop", farm, tables, wanted)


def practice(farm: Farm, tables: Tables, wanted: str) -> str:
    return _named("--practice", "practice", farm, tables, wanted)


def weed(farm: Farm, tables: Tables, wanted: str) -> str:
    return _named("--weed", "weed", farm, tables, wanted)


def _named(option: str, kind: Kind, farm: Farm, tables: Tables, wanted: str) -> str:
    """Key of what is meant; names told are those of the farm's region."""
    names = Names(tables, farm.region)
    key = names.key(kind, wanted)
    if key is None:
        raise _unknown(option, wanted, names.hint(kind, wanted) or f"{names.allowed(kind, wanted)}.")
    return key


def _unknown(option: str, wanted: str, hint: str) -> click.BadParameter:
    return click.BadParameter(f"there is no {wanted!r}. {hint[:1].upper()}{hint[1:]}", param_hint=option)


def buyer(farm: Farm, tables: Tables, wanted: str) -> dict[str, str]:
    """What is meant by a buyer who is gone: one outlet of the farm, else all that buy a crop."""
    outlets: dict[str, tuple[str, ...]] = {outlet.name: () for outlet in farm.outlets}
    outlet = words.find(wanted, outlets)
    if outlet is not None:
        return {"outlet": outlet}
    names = Names(tables, farm.region)
    crop = names.key("crop", wanted)
    if crop is not None:
        return {"crop": crop}
    sold = {
        names.shown("crop", key): (one.name_us, one.name_uk)
        for key, one in tables.crops.items()
        if one.product != "none"
    }
    near = words.nearest(wanted, {**outlets, **sold})
    buyers = f"Buyers are {words.listed(list(outlets), 'and')}; or give a crop" if outlets else "Give a crop"
    hint = f'Did you mean "{near}"?' if near else f"{buyers}: {words.listed(list(sold))}."
    raise _unknown("--no-buyer", wanted, hint)


def any_weed(tables: Tables, wanted: str) -> str:
    """Key of a weed where no farm says in which words: both are told where they differ."""
    keys = {
        one.name_us if one.name_us == one.name_uk else f"{one.name_us} / {one.name_uk}": key
        for key, one in tables.weeds.items()
    }
    names = {
        said: (key, tables.weeds[key].latin, tables.weeds[key].name_us, tables.weeds[key].name_uk)
        for said, key in keys.items()
    }
    return keys[pick("--weed", wanted, names)]


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


def pages(wanted: Sequence[str], *, followed: bool) -> tuple[str, ...]:
    """Keys of the pages asked for; ``all`` stands for every one, ``followed`` for a plan planned anew."""
    names: dict[str, tuple[str, ...]] = {FOLLOWUP: ("what became of the plan",)}
    names |= {key: (said,) for key, said in PAGES.items()}
    if not followed:
        if any(words.find(name, {FOLLOWUP: names[FOLLOWUP]}) for name in wanted):
            said = f"{FOLLOWUP} tells what became of a plan that was followed: only replan prints it."
            raise click.BadParameter(said, param_hint="--page")
        del names[FOLLOWUP]
    picked = [pick("--page", name, {**names, ALL: ()}) for name in wanted]
    return tuple(names) if ALL in picked else tuple(picked)


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

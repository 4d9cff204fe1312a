"""Raw tables to checked blocks, with every fault told: place, what was found, what is allowed, a hint."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from rotation_opt.errors import Fault
from rotation_opt.farm import blocks
from rotation_opt.farm.blocks import Block
from rotation_opt.farm.names import Names
from rotation_opt.farm.text import Where, place, show
from rotation_opt.words import listed, nearest

B = TypeVar("B", bound=Block)

_TITLE_KEY = {"field": "name", "machine": "name", "outlet": "name", "crop": "name", "patch": "weed"}
_INNER_KEYS = {
    "year": "the year",
    "crop": "the crop of that year",
    "from": 'the first day, like "11-01"',
    "to": 'the last day, like "02-15"',
}
_ALLOWED_TYPES = {
    "list_type": "allowed is a list in square brackets, like [1, 2]",
    "dict_type": 'allowed is a group in curly brackets, like { "corn" = 40 }',
    "model_type": "allowed is a group of keys",
    "model_attributes_type": "allowed is a group of keys",
    "dataclass_type": "allowed is a group of keys",
}


@dataclass(slots=True)
class Report:
    """Faults found so far, each with the line it stands on, so that they can be told in file order."""

    file: str
    lines: Mapping[Where, int]
    found: list[tuple[int, Fault]] = field(default_factory=list)

    def add(self, path: Where, block: str, key: str, found: str, allowed: str, hint: str = "") -> None:  # noqa: PLR0917
        """Note one fault; `key` is what the place says after the block, empty for the whole block."""
        where = place(self.file, path, self.lines, f"{block}, {key}" if key else block)
        line = next((self.lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.lines), 0)
        fault = Fault(where, found, allowed, hint)
        if all(fault != other for _, other in self.found):
            self.found.append((line, fault))

    def faults(self) -> list[Fault]:
        """All faults in the order of the file."""
        return [fault for _, fault in sorted(self.found, key=lambda entry: entry[0])]


@dataclass(frozen=True, slots=True)
class Placed:
    """A checked block with the place it came from; keys that were at fault are left out of it."""

    path: Where
    title: str
    block: Any
    patches: tuple[Placed, ...] = ()
    wrong: frozenset[str] = frozenset()  # keys that were at fault


@dataclass(frozen=True, slots=True)
class Blocks:
    """All blocks of one file."""

    single: Mapping[str, Placed]
    many: Mapping[str, tuple[Placed, ...]]


def read_blocks(content: Mapping[str, Any], names: Names, report: Report) -> Blocks:
    """Check every block; faults go to `report`."""
    known = {**blocks.SINGLE, **blocks.MANY}
    single: dict[str, Placed] = {}
    many: dict[str, tuple[Placed, ...]] = {}
    for written, raw in content.items():
        name = blocks.SPELT.get(written, written)
        if name != written and name in content:
            report.add(
                (written,), f"[{written}]", "", f"[{name}] and [{written}]", "one of the two is enough"
            )
        if name not in known:
            found = (
                "a block of that name" if isinstance(raw, dict | list) else "a key that belongs to no block"
            )
            near = nearest(name, list(known))
            hint = f"Did you mean [{near}]?" if near else ""
            report.add(
                (name,), f"[{name}]", "", found, f"allowed are the blocks {listed(list(known), 'and')}", hint
            )
        elif name in blocks.SINGLE:
            if isinstance(raw, dict):
                single[name] = _block(blocks.SINGLE[name], raw, (written,), f"[{written}]", names, report)
            else:
                found = "several blocks" if isinstance(raw, list) else show(raw)
                report.add((name,), f"[{name}]", "", found, f"allowed is one block with the head [{name}]")
        else:
            many[name] = tuple(_each(name, raw, names, report))
    for name, what in blocks.NEEDED_BLOCKS.items():
        spellings = [name, *(other for other, meant in blocks.SPELT.items() if meant == name)]
        if all(content.get(spelt, []) == [] for spelt in spellings):
            head = f"[[{name}]]" if name in blocks.MANY else f"[{name}]"
            report.add((), head, "", "no such block", f"needed is {what}, under the head {head}")
    return Blocks(single, many)


def _each(name: str, raw: Any, names: Names, report: Report) -> Iterator[Placed]:
    if not isinstance(raw, list) or any(not isinstance(entry, dict) for entry in raw):
        found = "one block in single brackets" if isinstance(raw, dict) else show(raw)
        hint = f"Write the head of each one as [[{name}]]."
        report.add((name,), f"[[{name}]]", "", found, f"allowed are blocks with the head [[{name}]]", hint)
        return
    for index, entry in enumerate(raw):
        path = (name, index)
        title = _title(name, entry, index)
        patches: tuple[Placed, ...] = ()
        if name == "field" and "patch" in entry:
            patches = tuple(_patches(entry["patch"], (*path, "patch"), title, names, report))
            entry = {key: value for key, value in entry.items() if key != "patch"}
        placed = _block(blocks.MANY[name], entry, path, title, names, report)
        yield replace(placed, patches=patches)


def _patches(raw: Any, path: Where, title: str, names: Names, report: Report) -> Iterator[Placed]:
    if not isinstance(raw, list) or any(not isinstance(entry, dict) for entry in raw):
        found = "one block in single brackets" if isinstance(raw, dict) else show(raw)
        allowed = "allowed are blocks with the head [[field.patch]] below their field"
        report.add(path, title, "patch", found, allowed)
        return
    for index, entry in enumerate(raw):
        own = f"{title}, {_title('patch', entry, index)}"
        yield _block(blocks.PatchBlock, entry, (*path, index), own, names, report)


def _title(name: str, entry: Mapping[str, Any], index: int) -> str:
    """``field "Home 40"``; by number, counted from 1, where it has no usable name."""
    own = entry.get(_TITLE_KEY[name])
    if not isinstance(own, str) or not own.strip():
        return f"{name} {index + 1}"
    return f"patch {index + 1} ({own})" if name == "patch" else f"{name} {show(own)}"


def _block(  # noqa: PLR0917
    model: type[B], raw: Mapping[str, Any], path: Where, title: str, names: Names, report: Report
) -> Placed:
    wrong: set[Any] = set()
    try:
        block = model.model_validate(raw, context=names)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            wrong.add(detail["loc"][0] if detail["loc"] else None)
            _tell(model, detail, path, title, report)
        block = model.model_validate({k: v for k, v in raw.items() if k not in wrong}, context=names)
    for family in model.needed:
        if not any(key in raw for key in family):
            what = next(
                model.model_fields[key].description for key in family if model.model_fields[key].description
            )
            report.add(
                path, title, "", f"no {listed(family)}", f"needed is {what}", _respelt(family, raw, model)
            )
    for family in (*model.needed, *model.perhaps):
        twice = [key for key in family if key in raw]
        if len(twice) > 1:
            found = f"{listed(twice, 'and')} together"
            report.add(
                (*path, twice[1]), title, "", found, "allowed is one of them", "Keep the unit you use."
            )
    for first, family in model.together:
        given = next((key for key in family if key in raw), None)
        if first in raw and given is None:
            what = next(filter(None, (model.model_fields[key].description for key in family)))
            report.add(
                (*path, first), title, first, f"{first} alone", f"needed with it is {what}, {listed(family)}"
            )
        elif given is not None and first not in raw:
            report.add((*path, given), title, given, f"{given} alone", f"it goes with {first}")
    return Placed(path, title, block, wrong=frozenset(wrong))


def _respelt(family: tuple[str, ...], raw: Mapping[str, Any], model: type[Block]) -> str:
    """A key of the file that may be meant for a missing one."""
    strange = [key for key in raw if key not in model.model_fields]
    for key in strange:
        if nearest(key, family):
            return f"Is {key} meant for it?"
    return ""


def _tell(model: type[Block], detail: ErrorDetails, path: Where, title: str, report: Report) -> None:
    """One fault of a block, from what the checker found."""
    loc = [part for part in detail["loc"] if not (isinstance(part, str) and part.startswith("~"))]
    kind = detail["type"]
    if kind == "extra_forbidden":
        keys = _keys_at(model, loc)
        near = nearest(str(loc[-1]), keys)
        hint = f"Did you mean {near}?" if near else ""
        where = _spoken(loc[:-1])
        key = f"{where}, {loc[-1]}" if where else str(loc[-1])
        report.add(
            (*path, *loc),
            title,
            key,
            "a key that is not known here",
            f"known are {listed(keys, 'and')}",
            hint,
        )
        return
    if loc and loc[-1] == "[key]":
        loc, found = loc[:-2], show(loc[-2])
    else:
        found = show(detail["input"])
    if kind == "missing":
        key = _spoken(loc[:-1])
        report.add(
            (*path, *loc),
            title,
            key,
            f'no "{loc[-1]}"',
            f"needed is {_INNER_KEYS.get(str(loc[-1]), loc[-1])}",
        )
        return
    context = detail.get("ctx", {})
    allowed = context.get("allowed") if kind == "farm_file" else _ALLOWED_TYPES.get(kind)
    if allowed is None:
        allowed = "allowed is a value of another kind"
    report.add((*path, *loc), title, _spoken(loc), found, str(allowed), str(context.get("hint", "")))


def _spoken(loc: list[str | int]) -> str:
    """``history, entry 3``: keys as written, places in a list counted from 1."""
    return ", ".join(f"entry {part + 1}" if isinstance(part, int) else part for part in loc)


def _keys_at(model: type[Block], loc: list[str | int]) -> list[str]:
    """Keys that are known where an unknown one was found."""
    inner: dict[str, list[str]] = {"history": ["year", "crop"], "soil_cover": ["from", "to"]}
    if len(loc) > 1:
        return inner.get(str(loc[0]), [])
    return [*model.model_fields, *(["patch"] if model is blocks.FieldBlock else [])]

"""One or several values of a farm file changed, with the grower's remarks, order and blank lines kept."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tomlkit.exceptions import TOMLKitError

from rotation_opt.errors import Fault, InputError, RotationOptError
from rotation_opt.farm.text import Where, parsed
from rotation_opt.farm_edit import paths, values
from rotation_opt.farm_edit.parts import Parts

TAKE_OUT = "-"
"""The value that takes a key, or a whole block, out of the file."""
MOST_SHOWN = 80  # letters of a value that cannot be used


@dataclass(frozen=True, slots=True)
class Change:
    """What one change did: ``old`` and ``new`` as typed, empty where nothing stood or stands."""

    path: str
    old: str
    new: str


def changed(text: str, changes: Sequence[tuple[str, str]]) -> str:
    """The text of a farm file with values changed.

    Parameters
    ----------
    text : str
        The farm file.
    changes : sequence of (path, value)
        Path as ``labour.workers``, ``field "Home 40".lease_end``, ``machine baler.status``,
        ``field 3 patch 1.stage``, ``limits.largest_share_pct.corn``, ``field "Home 40".as_now.2``; with
        ``new`` before it a block that is not there yet. Value as a grower writes it, or ``-`` to take the key
        out; without a key ``-`` takes the block out.

    Returns
    -------
    str
        What no change names is the same sign by sign. Only the form is sure: whether the values may be so is
        for `farm.read_text` to say.

    Raises
    ------
    InputError
        If the text is no farm file, a path leads nowhere or a value says nothing; with all such faults.
    """
    return edit(text, changes)[0]


def edit(
    text: str, changes: Sequence[tuple[str, str]], file: str = "the farm file"
) -> tuple[str, list[Change]]:
    """As :func:`changed`, with what was changed; `file` is what faults of the text itself call it."""
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    text = text[len(mark) :]
    parsed(text, file)
    old_ends = "\n" not in text and "\r" in text  # line ends of very old files
    if "\r" in text.replace("\r\n", "") and not old_ends:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = text.replace("\r", "\n") if old_ends else text
    done: list[Change] = []
    faults: list[Fault] = []
    for path, said in changes:
        try:
            text, told = _one(text, path, said)
            done += told
        except paths.NotFound as fault:
            faults.append(fault.fault)
        except values.NotUnderstood as fault:
            shown = said if len(said) <= MOST_SHOWN else f"{said[:MOST_SHOWN]}..."
            faults.append(Fault(f"`{path}`", f"`{shown}`", fault.allowed, fault.hint))
    if faults:
        raise InputError(faults)
    return mark + (text.replace("\n", "\r") if old_ends else text), done


def _one(text: str, path: str, said: str) -> tuple[str, list[Change]]:
    """One change; the result is read again, and nothing but what was meant may be different in it."""
    content = tomllib.loads(text)
    place = paths.place(path, content)
    wanted = copy.deepcopy(content)
    parts = Parts.of(text)
    try:
        told = _Work(parts, wanted, path, place).do(said)
        text = parts.text()
        same = tomllib.loads(text) == wanted
    except (LookupError, TypeError, tomllib.TOMLDecodeError, TOMLKitError):
        same = False
    if not same:
        raise RotationOptError(
            f"`{path}`: the file is written in a way in which this cannot be changed from here. "
            "Change it in an editor."
        )
    return text, told


@dataclass(slots=True)
class _Work:
    """One change, done to the text and beside it to the plain tables that the text must then say."""

    parts: Parts
    wanted: dict[str, Any]
    path: str
    place: paths.Place

    def do(self, said: str) -> list[Change]:
        place = self.place
        taking = said.strip() == TAKE_OUT
        if not place.keys:
            if place.new_title and not taking:
                raise paths.NotFound(self.path, "no key", "needed is a key of the new block after a dot")
            return self._take_out_block(taking)
        if place.entry is not None:
            return self._entry(said, place.entry)
        key = place.keys[0]
        kind = values.kind_of(place.model, key)
        if taking:
            return self._take_out()
        if place.new_title:
            self._add_block()
        if len(place.keys) == 2:
            return self._set(place.keys, values.value(said, "number"))
        value = values.value(said, kind)
        if kind == "group":
            return self._group(key, value)
        return self._set(place.keys, value)

    def _block(self) -> dict[str, Any] | None:
        found: Any = self.wanted
        for step in self.place.where:
            if isinstance(step, str) and step not in found:
                return None
            found = found[step]
        return found if isinstance(found, dict) else None

    def _holder(self, keys: tuple[str, ...]) -> dict[str, Any] | None:
        """The tables in which the last of some keys stands."""
        block = self._block()
        return block if block is None or len(keys) == 1 else block.get(keys[0])

    def _set(self, keys: tuple[str, ...], value: Any) -> list[Change]:
        plain = values.plain(value)
        holder = self._holder(keys)
        old = None if holder is None else holder.get(keys[-1])
        if _same(old, plain):
            return [Change(self.path, values.typed(old), values.typed(old))]
        told = [Change(self.path, "" if old is None else values.typed(old), values.typed(value))]
        other = self._other_unit(keys)
        if other:
            told.insert(0, Change(_beside(self.path, other), values.typed(self._block()[other]), ""))  # type: ignore[index]
            self.parts.rename(self.place.where, other, keys[0], value)
            self._block().pop(other)  # type: ignore[union-attr]
        else:
            self.parts.put(self.place.where, keys, value)
        self._put(keys, plain)
        return told

    def _put(self, keys: tuple[str, ...], plain: Any) -> None:
        block = self._block()
        if block is None:
            block = self.wanted.setdefault(str(self.place.where[0]), {})
        for step in keys[:-1]:
            block = block.setdefault(step, {})
        block[keys[-1]] = plain

    def _other_unit(self, keys: tuple[str, ...]) -> str:
        """A key that says the same in another unit and has to go when this one comes."""
        block = self._block()
        if block is None or len(keys) > 1 or keys[0] in block:
            return ""
        for family in (*self.place.model.needed, *self.place.model.perhaps):
            if keys[0] in family:
                return next((key for key in family if key in block), "")
        return ""

    def _group(self, key: str, value: dict[str, Any]) -> list[Change]:
        block = self._block() or {}
        old = block.get(key)
        there: dict[str, Any] = dict(old) if isinstance(old, dict) else {}
        named = {values.spelt(name, there): number for name, number in value.items()}
        told = []
        for name, number in there.items():
            if name not in named:
                self._remove((key, name))
                told.append(Change(f"{self.path}.{name}", values.typed(number), ""))
        for name, number in named.items():
            told += [Change(f"{self.path}.{name}", c.old, c.new) for c in self._set((key, name), number)]
        return told

    def _entry(self, said: str, entry: int) -> list[Change]:
        key = self.place.keys[0]
        block = self._block()
        if block is None:
            raise LookupError(key)
        kind = values.kind_of(self.place.model, key)
        old = block[key][entry]
        if said.strip() == TAKE_OUT:
            value = [*block[key][:entry], *block[key][entry + 1 :]]
            self.parts.put(self.place.where, (key,), value)
            block[key] = value
            return [Change(self.path, values.typed(old), "")]
        value = values.value(
            said, "number" if kind == "numbers" else "group" if isinstance(old, dict) else "text"
        )
        plain = values.plain(value)
        if not _same(old, plain):
            self.parts.put_entry(self.place.where, (key,), entry, value)
            block[key][entry] = plain
        return [Change(self.path, values.typed(old), values.typed(plain))]

    def _take_out(self) -> list[Change]:
        keys = self.place.keys
        holder = self._holder(keys)
        if not isinstance(holder, dict) or keys[-1] not in holder:
            raise paths.NotFound(self.path, "no such key in the file", "only what is there can be taken out")
        old = values.typed(holder[keys[-1]])
        self._remove(keys)
        return [Change(self.path, old, "")]

    def _remove(self, keys: tuple[str, ...]) -> None:
        self.parts.take_out(self.place.where, keys)
        holder = self._holder(keys)
        if holder is not None:
            del holder[keys[-1]]

    def _take_out_block(self, taking: bool) -> list[Change]:
        where = self.place.where
        if not taking:
            keys = ", ".join(self.place.model.model_fields)
            raise paths.NotFound(self.path, "no key", f"needed is a key after a dot: {keys}")
        if self._block() is None or self.place.new_title:
            raise paths.NotFound(
                self.path, "no such block in the file", "only what is there can be taken out"
            )
        self.parts.take_out_block(where)
        holder: Any = self.wanted
        for step in where[:-1]:
            holder = holder[step]
        del holder[where[-1]]
        if not holder and len(where) > 1:
            _forget(self.wanted, where[:-1])
        return [Change(self.path, "the whole block", "")]

    def _add_block(self) -> None:
        where, title = self.place.where, self.place.new_title
        key = paths.TITLE_KEY[str(where[-2])]
        self.parts.add_block(where, key, title)
        holder: Any = self.wanted
        for step in where[:-2]:
            holder = holder[step]
        holder.setdefault(where[-2], []).append({key: title})


def _forget(content: dict[str, Any], where: Where) -> None:
    holder: Any = content
    for step in where[:-1]:
        holder = holder[step]
    del holder[where[-1]]


def _same(old: Any, new: Any) -> bool:
    """Whether two values are written alike: 1 and 1.0 and true are three things."""
    if isinstance(old, list) and isinstance(new, list):
        return len(old) == len(new) and all(map(_same, old, new))
    if isinstance(old, dict) and isinstance(new, dict):
        return old.keys() == new.keys() and all(_same(old[key], new[key]) for key in old)
    return type(old) is type(new) and bool(old == new)


def _beside(path: str, key: str) -> str:
    return f"{path.rpartition('.')[0]}.{key}"

"""A farm file in parts, each a head with the keys under it, so that one is changed and the rest stays.

The parts are put together again sign by sign. The library that keeps comments sees one part at a time: it
does not keep the order of blocks of one kind that stand apart.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from typing import Any, cast

import tomlkit
from tomlkit.items import Array, Item

from rotation_opt.farm.text import Where
from rotation_opt.farm_edit.values import typed, written_key

_HEAD = re.compile(r"^\s*\[")
_LINES = re.compile(r"[^\n]*\n|[^\n]+")


@dataclass(slots=True)
class Part:
    """One head, ``""`` before the first one, and the lines up to the next."""

    where: Where
    head: str
    body: str


@dataclass(slots=True)
class Parts:
    """All parts of one file, in order."""

    parts: list[Part]
    line_end: str = "\n"
    counts: dict[Where, int] = field(default_factory=dict)

    @classmethod
    def of(cls, text: str) -> Parts:
        """The parts of a text that is known to be sound TOML."""
        parts, counts = [Part((), "", "")], dict[Where, int]()
        for line in _LINES.findall(text):
            if _HEAD.match(line) and _is_whole(parts[-1].body):
                parts.append(Part(_where(line, counts), line, ""))
            else:
                parts[-1].body += line
        found = cls(parts, "\r\n" if "\r\n" in text else "\n", counts)
        if parts[-1].head and not parts[-1].body:
            parts[-1].head = found._ended(parts[-1].head)
        return found

    def text(self) -> str:
        return "".join(part.head + part.body for part in self.parts)

    def put(self, where: Where, key: tuple[str, ...], value: Any) -> None:
        """Set a key, or an entry of a group, of the block at `where`; make what is missing for it."""
        part, inner = self._home(where, key)
        if part is None:
            if where not in {p.where for p in self.parts}:
                self._append(where, key, value)
                return
            part, inner = next(p for p in self.parts if p.where == where), key
        keys = tomlkit.parse(part.body)
        holder: Any = keys
        for step in inner[:-1]:
            if step not in holder:
                part.body = self._with_line(part.body, inner, value)
                return
            holder = holder[step]
        if inner[-1] not in holder and holder is keys:
            part.body = self._with_line(part.body, inner, value)
            return
        old = keys.item(inner[0])
        holder[inner[-1]] = _made(value)
        new = keys.item(inner[0])
        if isinstance(old, Item) and isinstance(new, Item) and holder is keys:
            _keep_column(old, new)
        part.body = tomlkit.dumps(keys)

    def put_entry(self, where: Where, key: tuple[str, ...], place: int, value: Any) -> None:
        """Set one entry of a list, counted from 0."""
        part, inner = self._home(where, key)
        if part is None:
            raise LookupError(key)
        keys = tomlkit.parse(part.body)
        holder: Any = keys
        for step in inner:
            holder = holder[step]
        holder[place] = _made(value)
        part.body = tomlkit.dumps(keys)

    def take_out(self, where: Where, key: tuple[str, ...]) -> None:
        """Remove one key with its line, or a whole group with its head."""
        part, inner = self._home(where, key)
        if part is None:
            raise LookupError(key)
        if not inner:
            self._drop([part])
            return
        keys = tomlkit.parse(part.body)
        holder: Any = keys
        for step in inner[:-1]:
            holder = holder[step]
        holder.remove(inner[-1])
        part.body = tomlkit.dumps(keys)

    def rename(self, where: Where, old: str, new: str, value: Any) -> None:
        """Put a key in the place of another."""
        part, inner = self._home(where, (old,))
        if part is None or len(inner) != 1:
            self.take_out(where, (old,))
            self.put(where, (new,), value)
            return
        keys = tomlkit.parse(part.body)
        written = next(key for key, _ in keys.body if key is not None and key.key == old)
        said = written.as_string()
        rest = f"{said[len(said.rstrip()) :]}{written.sep}{cast(Item, keys.item(old)).as_string()}"
        part.body = part.body.replace(f"{said.rstrip()}{rest}", f"{written_key(new)}{rest}", 1)
        self.put(where, (new,), value)

    def add_block(self, where: Where, key: str, value: Any) -> None:
        """A new block of a kind that can stand several times, after the last one of its kind."""
        names = [step for step in where if isinstance(step, str)]
        head = f"[[{'.'.join(names)}]]{self.line_end}"
        body = f"{written_key(key)} = {tomlkit.item(value).as_string()}{self.line_end}"
        near = where[:2] if len(names) > 1 else where[:1]  # a patch belongs below its own field
        last = next((p for p in reversed(self.parts) if p.where[: len(near)] == near), self.parts[-1])
        kept, rest = _tail(last.body)
        kept = self._ended(kept)
        last.body = kept + self.line_end
        self.parts.insert(self.parts.index(last) + 1, Part(where, head, body + rest))

    def take_out_block(self, where: Where) -> None:
        """Remove a block with all that belongs to it; remarks that stand before the next head stay."""
        self._drop([part for part in self.parts if part.where[: len(where)] == where])

    def _drop(self, parts: list[Part]) -> None:
        for part in parts:
            place = self.parts.index(part)
            rest = _tail(part.body)[1]
            blank = re.search(r"^[ \t]*\r?\n", rest, flags=re.MULTILINE)
            self.parts[place - 1].body += rest[blank.end() :] if blank else ""
            del self.parts[place]

    def _home(self, where: Where, key: tuple[str, ...]) -> tuple[Part | None, tuple[str, ...]]:
        """The part in which a key stands or belongs, and the key as it is written there."""
        if key:
            for part in self.parts:
                if part.where == (*where, key[0]):
                    return part, key[1:]
        for part in self.parts:  # a block may be written in several ways; the usual one first
            if part.where == where and (not key or key[0] in tomlkit.parse(part.body)):
                return part, key
        return next(
            (
                (part, (*map(str, where[len(part.where) :]), *key))
                for part in self.parts
                if len(part.where) < len(where)
                and part.where == where[: len(part.where)]
                and _has(part.body, where[len(part.where) :])
            ),
            (None, key),
        )

    def _append(self, where: Where, key: tuple[str, ...], value: Any) -> None:
        last = self.parts[-1]
        last.body = self._ended(last.body) if last.body else last.body
        body = self._with_line("", key, value)
        self.parts.append(Part(where, f"{self.line_end}[{where[0]}]{self.line_end}", body))

    def _with_line(self, body: str, key: tuple[str, ...], value: Any) -> str:
        """The body with a line more, after its last key."""
        for step in reversed(key[1:]):
            table = tomlkit.inline_table()
            table[step] = value
            value = table
        kept, rest = _tail(body)
        item = _made(value)
        line = f"{written_key(key[0])} = {item.as_string()}{self.line_end}"
        return (self._ended(kept) if kept else "") + line + rest

    def _ended(self, text: str) -> str:
        return text if text.endswith("\n") or not text else text + self.line_end


def _made(value: Any) -> Item:
    """A value for the file; groups within a list stay in it."""
    if isinstance(value, Item):
        return value
    return tomlkit.value(typed(value)) if isinstance(value, list | dict) else tomlkit.item(value)


def _is_whole(body: str) -> bool:
    """Whether no list or long text is still open at the end of some lines."""
    try:
        tomllib.loads(body)
    except (ValueError, RecursionError):
        return False
    return True


def _where(head: str, counts: dict[Where, int]) -> Where:
    """Place of a block, like ``("field", 2, "patch", 0)``."""
    names, inner = list[str](), tomllib.loads(head)
    several = False
    while inner:
        name, under = next(iter(inner.items()))
        names.append(name)
        several = isinstance(under, list)
        inner = under[0] if several else under
    here: Where = ()
    for depth, name in enumerate(names):
        here = (*here, name)
        if several and depth == len(names) - 1:
            counts[here] = counts.get(here, -1) + 1
        if here in counts:
            here = (*here, counts[here])
    return here


def _has(body: str, steps: Where) -> bool:
    holder: Any = tomllib.loads(body)
    for step in steps:
        if not isinstance(holder, dict) or step not in holder:
            return False
        holder = holder[step]
    return isinstance(holder, dict)


def _tail(body: str) -> tuple[str, str]:
    """Lines up to the last key, and blank lines and remarks after it."""
    lines = _LINES.findall(body)
    kept = len(lines)
    while kept and (not lines[kept - 1].strip() or lines[kept - 1].lstrip().startswith("#")):
        kept -= 1
    return "".join(lines[:kept]), "".join(lines[kept:])


def _keep_column(old: Item, new: Item) -> None:
    """A remark beside a value stays in its column."""
    if new.trivia.comment and not isinstance(old, Array):
        grown = len(new.as_string()) - len(old.as_string())
        new.trivia.comment_ws = _narrowed(new.trivia.comment_ws, grown)


def _narrowed(blanks: str, by: int) -> str:
    return blanks if "\t" in blanks or not blanks else " " * max(len(blanks) - by, 1)

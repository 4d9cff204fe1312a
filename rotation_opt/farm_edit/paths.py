"""Where in a farm file something stands, from the words a grower would use: ``field "Home 40".lease_end``."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rotation_opt.errors import Fault
from rotation_opt.farm import blocks
from rotation_opt.farm.blocks import Block
from rotation_opt.farm.text import Where, show
from rotation_opt.words import find, listed, nearest

TITLE_KEY = {"field": "name", "machine": "name", "outlet": "name", "crop": "name", "patch": "weed"}
_REMARK = re.compile(r"\s*\([^()]*\)")
_TOKEN = re.compile(r'"[^"]*"|\'[^\']*\'|[^."\']+|\.|["\']')
_QUOTES = str.maketrans("“”„‟«»‘’‚", '""""""' + "'''")
_MOST_LISTED = 25
Content = Mapping[str, Any]


class NotFound(Exception):
    """A path that leads nowhere; carries what to tell."""

    def __init__(self, path: str, found: str, allowed: str, hint: str = "") -> None:
        self.fault = Fault(f"`{path}`", found, allowed, hint)
        super().__init__(str(self.fault))


@dataclass(frozen=True, slots=True)
class Place:
    """What a path stands for.

    ``where`` is the block, as ``("field", 0)`` or ``("labour",)``; ``keys`` the key and, in a group, the name
    below it; both may be of something that is not there yet. ``entry`` is a place in a list, from 0.
    """

    where: Where
    model: type[Block]
    keys: tuple[str, ...] = ()
    entry: int | None = None
    new_title: str = ""  # of a block that is to be made


def place(path: str, content: Content) -> Place:
    """The place that a path stands for.

    Parameters
    ----------
    path : str
        ``block.key``, ``field "Name".key`` or ``field 2.key``, ``field "Name" patch 1.key``; in a group
        ``block.key.name``, in a list ``block.key.2``; with ``new`` before it, a block that is not there yet.
    content : mapping
        The farm file as nested tables.

    Raises
    ------
    NotFound
        With what there is and the nearest spelling.
    """
    words = _Words(path)
    new = words.take("new")
    block = words.block()
    if block in blocks.SINGLE:
        if new:
            raise NotFound(path, f"new {block}", f"new is allowed for {listed(list(blocks.MANY))}")
        spelt = [name for name, meant in blocks.SPELT.items() if meant == block and name in content]
        where: Where = (spelt[0] if spelt and block not in content else block,)
        inside = content.get(str(where[0]), {})
        return _with_keys(
            Place(where, blocks.SINGLE[block]), words, inside if isinstance(inside, dict) else {}
        )
    model = blocks.MANY[block]
    there = _dicts(content.get(block, []))
    making = new and not (block == "field" and words.has_patch())
    title, index = words.element(block, there, making)
    if index is None:
        return _with_keys(Place((block, len(there)), model, new_title=title), words, {})
    found = Place((block, index), model)
    inside = there[index]
    if block == "field" and words.take("patch"):
        patches = _dicts(inside.get("patch", []))
        title, index = words.element("patch", patches, new)
        found = Place((*found.where, "patch", len(patches) if index is None else index), blocks.PatchBlock)
        if index is None:
            return _with_keys(Place(found.where, found.model, new_title=title), words, {})
        inside = patches[index]
    return _with_keys(found, words, inside)


def _with_keys(found: Place, words: _Words, inside: Content) -> Place:
    """The same with the key, and the name or the number below it."""
    steps = words.steps()
    if not steps:
        return found
    fields = dict.fromkeys(found.model.model_fields, ())
    key = find(steps[0], fields)
    if key is None:
        raise words.no_key(steps[0], list(fields), inside)
    if len(steps) == 1:
        return Place(found.where, found.model, (key,), None, found.new_title)
    kind = found.model.model_fields[key].annotation
    held = inside.get(key)
    if "dict[" in str(kind) and len(steps) == 2:
        names = held if isinstance(held, dict) else {}
        name = find(steps[1], dict.fromkeys(names, ())) or steps[1]
        return Place(found.where, found.model, (key, name), None, found.new_title)
    if isinstance(held, list) and len(steps) == 2:
        number = int(steps[1]) if re.fullmatch(r"\d{1,6}", steps[1]) else 0
        if not 1 <= number <= len(held):
            raise NotFound(words.path, f"entry {show(steps[1])}", f"{key} has the entries 1 to {len(held)}")
        return Place(found.where, found.model, (key,), number - 1, found.new_title)
    raise NotFound(words.path, f"{show(steps[1])} below {key}", f"{key} holds no names below it")


def _dicts(found: object) -> list[dict[str, Any]]:
    return [one for one in found if isinstance(one, dict)] if isinstance(found, list) else []


class _Words:
    """The path, taken apart from the left."""

    def __init__(self, path: str) -> None:
        self.path = " ".join(path.split())
        self.rest = self.path.translate(_QUOTES)

    def take(self, word: str) -> bool:
        """Take a word from the front, if it stands there."""
        found = re.match(rf"[\s.]*{word}(?![\w-])\s*", self.rest, flags=re.IGNORECASE)
        if found:
            self.rest = self.rest[found.end() :]
        return found is not None

    def has_patch(self) -> bool:
        bare = re.sub(r'"[^"]*"|\'[^\']*\'', "", self.rest)
        return re.search(r"[\s.]patch(?![\w-])", bare, flags=re.IGNORECASE) is not None

    def block(self) -> str:
        known = {**blocks.SINGLE, **blocks.MANY}
        found = re.match(r"[^\s.\"']*", self.rest)
        word = found[0] if found else ""
        self.rest = self.rest[len(word) :].lstrip()
        names = {name: tuple(s for s, meant in blocks.SPELT.items() if meant == name) for name in known}
        block = find(word, names) if word else None
        if block is None:
            near = nearest(word, list(known)) if word else ""
            hint = (
                f"Did you mean {near}?"
                if near
                else 'Write a path like labour.workers or field "Home 40".lease_end.'
            )
            raise NotFound(self.path, f"{show(word)}", f"the blocks are {listed(list(known), 'and')}", hint)
        return block

    def element(self, kind: str, there: Sequence[Content], new: bool) -> tuple[str, int | None]:
        """Name and place of the block that is named next; None for one that is to be made."""
        titles = [str(one.get(TITLE_KEY[kind], "")) for one in there]
        if kind != "patch":
            self.rest = self.rest.lstrip(" .")
        quoted = re.match(r'\s*(?:"([^"]*)"|\'([^\']*)\')', self.rest)
        if quoted:
            said = [(quoted[1] if quoted[1] is not None else quoted[2], self.rest[quoted.end() :])]
        else:
            said = self._unquoted(kind)
        first, after = said[0]
        if new:
            if not first.strip():
                raise NotFound(self.path, "no name", f'needed is the name, like new {kind} "..."')
            if kind != "patch" and any(find(first, {title: ()}) for title in titles):
                raise NotFound(
                    self.path, f"{kind} {show(first)}", f"there is a {kind} of that name; leave out new"
                )
            self.rest = after
            return first.strip(), None
        for name, after in said:
            found = _found(name, titles, kind)
            if len(found) == 1:
                self.rest = after
                return titles[found[0]], found[0]
            if len(found) > 1:
                numbers = listed([f"{kind} {index + 1}" for index in found])
                raise NotFound(
                    self.path, f"{show(name)} several times", f"say which by its number: {numbers}"
                )
        if not first.strip() and len(there) == 1 and kind == "patch":
            self.rest = said[0][1]
            return titles[0], 0
        raise self._no_element(kind, first, titles)

    def _unquoted(self, kind: str) -> list[tuple[str, str]]:
        """Ways to end a name without quotes: before a later dot where the name has dots, before ``patch``."""
        ends = [match.start() for match in re.finditer(r"\.", self.rest)] or [len(self.rest)]
        ways = [(self.rest[:end].strip(), self.rest[end:]) for end in ends]
        if kind == "field":
            for match in re.finditer(r"\spatch(?![\w-])", self.rest, flags=re.IGNORECASE):
                ways.append((self.rest[: match.start()].strip(), self.rest[match.start() :]))
        ways.append((self.rest.strip(), ""))
        return ways

    def _no_element(self, kind: str, said: str, titles: Sequence[str]) -> NotFound:
        many = len(titles) > _MOST_LISTED
        names = listed([f'"{title}"' for title in titles[:_MOST_LISTED]], "and") + (
            " and others" if many else ""
        )
        allowed = f"there is {names}" if titles else f"the file has no {kind}"
        near = nearest(said, {title: (_REMARK.sub("", title),) for title in titles}) if said else ""
        new = 'new field "..." patch "..."' if kind == "patch" else f'new {kind} "..."'
        hint = f'Did you mean "{near}"?' if near else f"For one that is not there yet write {new}."
        found = f"no {kind} {show(said)}" if said else f"no name or number of the {kind}"
        return NotFound(self.path, found, allowed, hint)

    def steps(self) -> list[str]:
        """The words after the block, between dots."""
        steps: list[str] = []
        fresh = False
        for token in _TOKEN.findall(self.rest):
            if token == ".":
                fresh = True
            elif token.strip():
                word = token[1:-1] if token[0] in "\"'" and len(token) > 1 else token.strip()
                if not fresh:
                    raise NotFound(self.path, f"{show(word)}", "a dot stands between the block and the key")
                steps.append(word)
                fresh = False
        if fresh:
            raise NotFound(self.path, "nothing after the last dot", "needed is a key there")
        return steps

    def no_key(self, said: str, keys: list[str], inside: Content) -> NotFound:
        there = [key for key in keys if key in inside]
        near = nearest(said, keys)
        hint = (
            f"Did you mean {near}?"
            if near
            else f"Given in the file: {listed(there, 'and')}."
            if there
            else ""
        )
        return NotFound(self.path, f"no key {show(said)}", f"known are {listed(keys, 'and')}", hint)


def _found(said: str, titles: Sequence[str], kind: str) -> list[int]:
    """Blocks that go by a name or a number."""
    if not said.strip():
        return []
    exact = [index for index, title in enumerate(titles) if title == said]
    if exact:
        return exact
    alike = [
        index
        for index, title in enumerate(titles)
        if find(said, {"": (title, _REMARK.sub("", title))}) is not None
    ]
    if alike:
        return alike
    number = int(said) if re.fullmatch(r"\d{1,6}", said) else 0
    return [number - 1] if 1 <= number <= len(titles) else []

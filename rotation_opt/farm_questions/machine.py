"""The interview as a pure machine: what was answered so far and one more answer give what is said next.

The state is nothing but the answers as typed, in order. At each step all of them are read anew, so going
back is leaving out the last one, and taking up an interview again is reading the answers that were kept.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from rotation_opt import farm, farm_writer
from rotation_opt.errors import InputError
from rotation_opt.farm_questions.answers import LONGEST, NONE, Known, Read, UnclearError, told
from rotation_opt.tables import Tables
from rotation_opt.words import Region, plain

Content = dict[str, Any]
Flow = Generator["Question", Any, Any]

COMMANDS = 'Enter takes what stands in [ ]. Also: "?" for help, "back", "skip", "stop" (answers are kept).'


def _silent(value: Any) -> str:
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing asked.

    Parameters
    ----------
    key : str
        What it is about; no two open questions share one.
    part : str
        Heading under which it stands.
    text : str
        As it is asked.
    help : str
        What is said on ``?``.
    read : callable
        Answer to value; raises :class:`UnclearError` with a sentence.
    put : callable
        Puts a value into the content of the farm file.
    default : str or None
        Answer that Enter stands for; None if there is none.
    optional : bool
        Whether the answer can be left out; the value is None then.
    shown : tuple of str
        What stands above the question, such as a numbered list.
    echo : callable
        What is said of a value once it is taken; "" for nothing.
    """

    key: str
    part: str
    text: str
    help: str
    read: Read
    put: Callable[[Content, Any], None]
    default: str | None = None
    optional: bool = False
    shown: tuple[str, ...] = ()
    echo: Callable[[Any], str] = _silent


@dataclass(frozen=True, slots=True)
class State:
    """Answers as typed.

    Parameters
    ----------
    given : tuple of (str, str)
        Key of each question and its answer, in the order asked; "" for one left out.
    undone : tuple of (str, str)
        Answers taken back, the last one taken back at the end: Enter gives them again.
    over : bool
        Whether the grower stopped.
    """

    given: tuple[tuple[str, str], ...] = ()
    undone: tuple[tuple[str, str], ...] = ()
    over: bool = False


@dataclass(frozen=True, slots=True)
class _Walk:
    """Where some answers lead."""

    question: Question | None
    content: Content
    read: int  # how many of the answers could be used


class Interview:
    """The questions for one farm file.

    Parameters
    ----------
    tables : Tables
        What crops, weeds, machines and stations there are.
    today : date
        For defaults of dates and years.
    """

    def __init__(self, tables: Tables, today: date) -> None:
        self.tables, self.today = tables, today
        self._names: dict[Region, Known] = {}
        self._last: tuple[tuple[tuple[str, str], ...], _Walk] | None = None

    def names(self, region: Region) -> Known:
        """Names as they are called in a region."""
        if region not in self._names:
            self._names[region] = Known(self.tables, region)
        return self._names[region]

    def question(self, state: State) -> Question | None:
        """What is asked next; None if all is asked. An answer taken back is offered again."""
        question = self._walk(state.given).question
        if question is not None and state.undone and state.undone[-1][0] == question.key:
            before = state.undone[-1][1]
            return replace(question, default=before or None) if before or question.optional else question
        return question

    def content(self, state: State) -> Content:
        """What the farm file will hold, as far as it is known."""
        return copy.deepcopy(self._walk(state.given).content)

    def usable(self, state: State) -> State:
        """The state without answers that can no longer be used, such as those of a damaged file."""
        walk = self._walk(state.given)
        given = state.given[: walk.read]
        while given and self._wrong(walk.content):
            given = given[:-1]
            walk = self._walk(given)
        return State(given=given)

    def step(self, state: State, answer: str) -> tuple[State, str]:
        """What an answer leads to.

        Parameters
        ----------
        state : State
        answer : str
            A line as typed: an answer, nothing, or one of the words in :data:`COMMANDS`. In quotation marks
            such a word is an answer.

        Returns
        -------
        state : State
            The same as before if the answer could not be used.
        say : str
            What is to be said; empty if there is nothing to say but the next question.
        """
        question = self.question(state)
        if question is None:
            return state, "All is asked."
        said = answer.strip()
        if not all(sign.isprintable() or sign == "\t" for sign in said) or len(said) > LONGEST:
            return state, "That holds signs that are not letters, or far too many of them. Once more, please."
        nothing = False
        match plain(said) if said != "?" else "?":
            case "?" | "help":
                return state, question.help
            case "stop" | "quit" | "exit" if _bare(said):
                return replace(state, over=True), ""
            case "back" if _bare(said):
                return _back(state)
            case "skip" if _bare(said):
                said = ""
            case word if word in NONE and question.optional and _bare(said):
                nothing = True
        said = said.strip("\"'“”„").strip()
        text = "" if nothing else said or question.default or ""
        if not text and not question.optional:
            return state, "This one is needed. Type ? for help with it."
        walk = self._walk(state.given)
        refused = self._refused(walk, text)
        if refused:
            return state, refused
        value = question.read(text) if text else None
        return self._accepted(state, question, text, value), "" if value is None else question.echo(value)

    @staticmethod
    def _accepted(state: State, question: Question, text: str, value: Any) -> State:
        if isinstance(value, date):
            text = value.isoformat()  # "June 24" means another day when it is read next year
        undone = state.undone
        if undone:
            undone = undone[:-1] if undone[-1][0] == question.key else ()
        return State((*state.given, (question.key, text)), undone)

    def _walk(self, given: tuple[tuple[str, str], ...]) -> _Walk:
        """Where answers lead; the last walk is kept, since each step asks for it more than once."""
        if self._last is None or self._last[0] != given:
            self._last = (given, self._walked(given))
        return self._last[1]

    def _walked(self, given: tuple[tuple[str, str], ...]) -> _Walk:
        from rotation_opt.farm_questions.flow import questions

        content: Content = {}
        flow = questions(self, content)
        question = next(flow)
        for count, (key, text) in enumerate(given):
            if key != question.key:
                return _Walk(question, content, count)
            try:
                value = question.read(text) if text else None
            except UnclearError:
                return _Walk(question, content, count)
            if value is None and not question.optional:
                return _Walk(question, content, count)
            question.put(content, value)
            try:
                question = flow.send(value)
            except StopIteration:
                return _Walk(None, content, count + 1)
        return _Walk(question, content, len(given))

    def _refused(self, walk: _Walk, text: str) -> str:
        """Why an answer cannot be used; empty if it can."""
        question = walk.question
        if question is None or not text:
            return ""
        content = copy.deepcopy(walk.content)
        try:
            question.put(content, question.read(text))
        except UnclearError as unclear:
            return str(unclear)
        return self._wrong(content)

    def _wrong(self, content: Content) -> str:
        """What the farm file could not hold, in the words in which it would be told."""
        try:
            farm.read_text(farm_writer.farm_text(_whole(content, self), ""), Path("farm.toml"), self.tables)
        except InputError as wrong:
            return told(wrong)
        return ""


def _bare(text: str) -> bool:
    return text[:1].isalpha()


def _back(state: State) -> tuple[State, str]:
    if not state.given:
        return state, "This is the first question."
    return State(state.given[:-1], (*state.undone, state.given[-1])), ""


def _whole(content: Content, interview: Interview) -> Content:
    """What can be read but for what is wrong in `content`: all that is still to be asked is made up."""
    metric = content.get("farm", {}).get("units") == "metric"
    area = "area_ha" if metric else "area_acres"
    needed: Mapping[str, Mapping[str, Any]] = {
        "farm": {
            "name": "Farm",
            "units": "us",
            "climate": next(iter(interview.tables.stations)),
            "organic": True,
            "decided_on": interview.today,
            "first_year": content.get("farm", {}).get("decided_on", interview.today).year + 1,
        },
        "labour": {"hours_per_week": 1, "machine_hours_a_day": 1},
    }
    whole = {**content, **{name: {**keys, **content.get(name, {})} for name, keys in needed.items()}}
    if "hours_per_week_by_month" in whole["labour"]:
        del whole["labour"]["hours_per_week"]
    whole["field"] = [_whole_field(each, area, whole["farm"]) for each in content.get("field", [{}])]
    if "head" in whole.get("livestock", {}):
        whole["livestock"] = {"days": 1, **whole["livestock"]}
        if not {"live_weight_lb", "live_weight_kg"} & set(whole["livestock"]):
            whole["livestock"]["live_weight_kg"] = 1
    return whole


def _whole_field(block: Content, area: str, farm_block: Mapping[str, Any]) -> Content:
    field = {"name": "field", area: 1, "history": ["oats"], **block}
    patch = {"weed": "couch", "counted_on": date(farm_block["first_year"], 1, 1), "stage": "bud"}
    field["patch"] = []
    for each in block.get("patch", ()):
        filled = {**patch, **each}
        if not {"area_acres", "area_ha", "share_of_field_pct"} & set(each):
            filled["share_of_field_pct"] = 1e-6
        if not {"shoots_per_m2", "shoots_per_sq_ft", "counts"} & set(each):
            filled["shoots_per_m2"] = 1
        if "counts" in each and not {"frame_m2", "frame_sq_ft", "frame_sq_yd"} & set(each):
            filled["frame_m2"] = 1
        field["patch"].append(filled)
    return field

"""What all questions of one farm share: its units and words, and short ways to ask."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from rotation_opt import words
from rotation_opt.farm.names import Kind
from rotation_opt.farm_questions.answers import Known, Read
from rotation_opt.farm_questions.machine import Content, Interview, Question
from rotation_opt.tables import Tables


class Asking:
    """The interview, as far as the units are known.

    Parameters
    ----------
    interview : Interview
    content : dict
        What is answered so far.
    """

    def __init__(self, interview: Interview, content: Content) -> None:
        self.interview, self.content = interview, content
        self.tables: Tables = interview.tables
        self.metric: bool = content["farm"]["units"] == "metric"
        self.names: Known = interview.names(content["farm"]["region"])
        self.area, self.area_word = ("area_ha", "ha") if self.metric else ("area_acres", "acres")
        self.hay_word = "tonnes" if self.metric else "tons (2,000 lb)"
        self.hay_units = ("t", "tonne", "tonnes") if self.metric else ("ton", "tons")
        self.hay_made = False

    def hay_key(self, name: str) -> str:
        """Key of an amount of hay, with its unit."""
        return f"{name}_t" if self.metric else f"{name}_ton"

    def word(self, term: str) -> str:
        """The word of the region."""
        return words.word(term, self.names.region)

    def numbered(self, kind: Kind, keys: Sequence[str]) -> tuple[str, ...]:
        """Things with their numbers, as a list to choose from."""
        shown = (self.names.shown(kind, key) for key in keys)
        return tuple(f"{place} {name}" for place, name in enumerate(shown, 1))

    @staticmethod
    def putting(block: str, key: str) -> Callable[[Content, Any], None]:
        """Puts a value under a key of a block."""

        def put(content: Content, value: Any) -> None:
            if value is not None:
                content.setdefault(block, {})[key] = value

        return put

    def put(  # noqa: PLR0917
        self,
        block: str,
        key: str,
        part: str,
        text: str,
        help: str,
        read: Read,
        *,
        default: str | None = None,
        optional: bool = False,
    ) -> Question:
        """A question whose answer is one key of the file."""
        return Question(
            key=f"{block} {key}",
            part=part,
            text=text,
            help=help,
            read=read,
            put=self.putting(block, key),
            default=default,
            optional=optional,
        )

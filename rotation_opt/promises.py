"""What a plan promised for the years done, and what became of it; shown when the rest is planned anew."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Three = tuple[float, float, float]
Side = Literal["inside", "above", "below"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One weed on one field in one year: shoots per m2 promised, and counted; low, likely, high."""

    field: str
    weed: str
    year: int
    stops: int
    promised: Three
    by_plan: bool  # else the plan says nothing of that year, and this is what its models foretell
    counted: Three

    @property
    def side(self) -> Side:
        """Where the count lies: above or below only if its own low to high does not touch the promise's.

        In a first year the promise is so narrow that a likely count beside it is no more than the chance of
        where the frame was laid.
        """
        if self.counted[0] > self.promised[2]:
            return "above"
        return "below" if self.counted[2] < self.promised[0] else "inside"


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrowed:
    """Living root on 1 November of the last year done, share of a full stand, before and after the counts."""

    field: str
    weed: str
    before: Three
    after: Three
    counted: bool  # in the last year done; else only older counts and what was done speak for it
    moved: bool = False  # counted so far off in the last year done that only this count speaks for it


@dataclass(frozen=True, slots=True, kw_only=True)
class Otherwise:
    """A field and year that was not done as planned.

    Days are ISO dates: those told of that are not the usual ones, and the usual ones in that climate.
    """

    field: str
    year: int
    planned: str  # practice key
    done: str  # practice key
    note: str
    sown_on: str = ""
    usual_sown_on: str = ""
    cut_on: tuple[str, ...] = ()
    usual_cut_on: tuple[str, ...] = ()
    harvested_on: str = ""
    usual_harvested_on: str = ""

    @property
    def other_days(self) -> bool:
        """Whether it was sown, cut or harvested on other days than usual."""
        return bool(self.sown_on or self.cut_on or self.harvested_on)


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowUp:
    """From last year's plan to the new one."""

    title: str  # of the plan followed
    first_year: int  # of the years done
    last_year: int
    held: tuple[Held, ...]
    roots: tuple[Narrowed, ...]
    otherwise: tuple[Otherwise, ...]
    visits_used: int
    effective: float  # courses that still count
    power: float  # of the likelihood; below 1 where too few courses were left
    notes: tuple[str, ...] = field(default=())

    def years_outside(self, name: str, weed: str) -> int:
        """Years running, back from the last one counted, with a count outside the promise on one side.

        Counts of one year at several stages are one verdict: outside only if all of them lie on that side.
        """
        sides: dict[int, set[str]] = {}
        for each in self.held:
            if (each.field, each.weed) == (name, weed):
                sides.setdefault(each.year, set()).add(each.side)
        running, side, last = 0, "", 0
        for year in sorted(sides, reverse=True):
            mine = sides[year]
            if len(mine) > 1 or "inside" in mine or (running and (mine != {side} or last - year > 1)):
                break
            (side,) = mine
            running, last = running + 1, year
        return running

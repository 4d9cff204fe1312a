"""Which practice may follow which, on which field, in which year; every "no" with its rule and a sentence.

Two kinds of rule: those that look at one pair, field or year become masks; those that look further back
(a break of several years, a longest run) become group memberships that the tree of sequences counts along.
How old a stand is stands in the practice itself (``alfalfa:3`` needed, ``alfalfa:4`` left), so that the least
and the longest hay phase are rules of a pair.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from .arrays import Flags, Integers, Rules
from .practices import DatedPractice, PracticeList, day_in_words, stand_of
from .records import Farm, Field, Programme, Rule
from .tables import Tables
from .words import Region

YEAR = 365
Reason = tuple[str, str]  # key of the rule, sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class Succession:
    """Rules and masks of one farm; P practices (``practice_list.all``), T plan years.

    Parameters
    ----------
    rules : Rules
        Breaks and runs.
    may_follow : (P, P) bool
        Row = previous, column = practice.
    allowed, farmed : mapping of field name to (T, P) and (T,) bool
    keys : tuple of str
        Practice keys in order.
    pair_reasons : mapping of (previous, practice) index
        Why a pair is not allowed.
    field_reasons : mapping of (field name, year index, practice) index
        Why a field does not allow a practice in a year.
    break_rules, run_rules : tuple of Rule
        In the order of ``rules``.
    """

    rules: Rules
    may_follow: Flags
    allowed: Mapping[str, Flags]
    farmed: Mapping[str, Flags]
    keys: tuple[str, ...]
    pair_reasons: Mapping[tuple[int, int], Reason]
    field_reasons: Mapping[tuple[str, int, int], Reason]
    break_rules: tuple[Rule, ...]
    run_rules: tuple[Rule, ...]
    histories: Mapping[str, tuple[int, ...]]
    first_year: int

    @classmethod
    def of(
        cls,
        farm: Farm,
        tables: Tables,
        practice_list: PracticeList,
        *,
        programmes: Sequence[Programme],
        pair_index: Integers,
        reasons: Mapping[tuple[str, str], str],
    ) -> Succession:
        """Put together all rules of a farm.

        Parameters
        ----------
        programmes, pair_index, reasons
            As from `timetable.all_programmes`.
        """
        practices = practice_list.all
        keys = tuple(dated.key for dated in practices)
        breaks = tuple(rule for rule in tables.rules if rule.kind == "break")
        runs = tuple(rule for rule in tables.rules if rule.kind == "run")
        rules = rule_arrays(tables, practices, breaks, runs)
        pairs = _pair_reasons(
            farm,
            tables,
            practices=practices,
            programmes=programmes,
            pair_index=pair_index,
            reasons=reasons,
            breaks=breaks,
            runs=runs,
            rules=rules,
        )
        may_follow = np.ones((len(keys), len(keys)), bool)
        for before, this in pairs:
            may_follow[before, this] = False
        histories = {
            field.name: tuple(practice_list.index[key] for key in field.history) for field in farm.fields
        }
        allowed, farmed, why = {}, {}, {}
        for field in farm.fields:
            last = histories[field.name][-1]
            found = field_reasons(
                farm,
                field,
                tables,
                practice_list=practice_list,
                last=last,
                programmes=programmes,
                pair_index=pair_index,
            )
            mask = np.ones((farm.years, len(keys)), bool)
            for (year, practice), reason in found.items():
                mask[year, practice] = False
                why[field.name, year, practice] = reason
            allowed[field.name] = mask
            years = farm.first_year + np.arange(farm.years)
            end = field.lease_end_year
            farmed[field.name] = np.ones(farm.years, bool) if end is None else years <= end
        return cls(
            rules=rules,
            may_follow=may_follow,
            allowed=allowed,
            farmed=farmed,
            keys=keys,
            pair_reasons=pairs,
            field_reasons=why,
            break_rules=breaks,
            run_rules=runs,
            histories=histories,
            first_year=farm.first_year,
        )

    def why_not(self, field: str, path: Sequence[str], practice: str) -> Reason | None:
        """Why a practice may not come next on a field.

        Parameters
        ----------
        field : str
            Name of the field.
        path : sequence of str
            Practice keys of the plan years before, none for the first year.
        practice : str
            Practice key asked for; ``""`` = the field is no longer farmed.

        Returns
        -------
        (str, str) or None
            Key of the rule and a sentence; None if it may.
        """
        year = len(path)
        farmed = bool(self.farmed[field][year])
        if not practice or not farmed:
            if not practice and not farmed:
                return None
            when = self.first_year + year
            if practice:
                return "lease", f"{field} is no longer farmed in {when}: the lease has ended"
            return "lease", f"{field} is still farmed in {when} and needs a crop"
        if practice not in self.keys:
            return "not_offered", f"{practice} is not among the practices of this farm"
        this = self.keys.index(practice)
        if (field, year, this) in self.field_reasons:
            return self.field_reasons[field, year, this]
        past = [*self.histories[field], *(self.keys.index(key) for key in path)]
        if (past[-1], this) in self.pair_reasons:
            return self.pair_reasons[past[-1], this]
        for number, rule in enumerate(self.break_rules):
            recent = past[-int(self.rules.break_years[number]) :]
            if self.rules.break_next[number, this] and any(
                self.rules.break_before[number, p] for p in recent
            ):
                return rule.key, rule.sentence
        for number, rule in enumerate(self.run_rules):
            most = int(self.rules.run_most[number])
            recent = past[-most:]
            if (
                self.rules.run_member[number, this]
                and len(recent) == most
                and all(self.rules.run_member[number, p] for p in recent)
            ):
                return rule.key, rule.sentence
        return None

    def first_no(self, field: str, path: Sequence[str]) -> tuple[int, Reason] | None:
        """Year index and reason of the first practice of a sequence that is not allowed."""
        for year, practice in enumerate(path):
            reason = self.why_not(field, path[:year], practice)
            if reason is not None:
                return year, reason
        return None


def matches(subject: str, crop: str, tables: Tables) -> bool:
    """Whether a crop is what a rule speaks of: its key, ``family:x``, ``group:x`` or ``small_grain``."""
    known = tables.crops[crop]
    kind, _, name = subject.partition(":")
    if name:
        return name == {"family": known.family, "group": known.group}[kind]
    return known.small_grain if subject == "small_grain" else crop == subject


def crops_in(dated: DatedPractice, only_new: bool = False) -> tuple[str, ...]:
    """Crops of a practice: the main one, what is undersown and the cover crop; or only those newly sown."""
    practice = dated.practice
    main = () if only_new and practice.needs_stand else (practice.crop,)
    return (*main, *(crop for crop in (practice.undersown, practice.cover) if crop))


def rule_arrays(
    tables: Tables, practices: Sequence[DatedPractice], breaks: Sequence[Rule], runs: Sequence[Rule]
) -> Rules:
    """Group memberships of break and run rules.

    A break counts what is newly sown against all that stood there: a hay stand that goes on is not sown
    again. A run counts main crops.
    """

    def member(rule: Rule, of: Sequence[tuple[str, ...]]) -> list[bool]:
        return [any(matches(rule.subject, crop, tables) for crop in crops) for crops in of]

    new = [crops_in(dated, only_new=True) for dated in practices]
    every = [crops_in(dated) for dated in practices]
    main = [(dated.crop,) for dated in practices]
    count = len(practices)
    return Rules(
        break_next=np.array([member(rule, new) for rule in breaks], bool).reshape(len(breaks), count),
        break_before=np.array([member(rule, every) for rule in breaks], bool).reshape(len(breaks), count),
        break_years=np.array([rule.years for rule in breaks], np.int64),
        run_member=np.array([member(rule, main) for rule in runs], bool).reshape(len(runs), count),
        run_most=np.array([rule.years for rule in runs], np.int64),
    )


def hay_years(stand: str) -> int:
    """Harvest years that a stand has behind it: ``alfalfa:3`` is in its third, so two.

    Examples
    --------
    >>> hay_years("alfalfa:1"), hay_years("alfalfa:3"), hay_years("")
    (0, 2, 0)
    """
    return stand_of(stand)[1] - 1 if stand else 0


def _phase_rules(tables: Tables, kind: str) -> dict[str, Rule]:
    return {rule.subject: rule for rule in tables.rules if rule.kind == kind}


def _pair_reasons(
    farm: Farm,
    tables: Tables,
    *,
    practices: Sequence[DatedPractice],
    programmes: Sequence[Programme],
    pair_index: Integers,
    reasons: Mapping[tuple[str, str], str],
    breaks: Sequence[Rule],
    runs: Sequence[Rule],
    rules: Rules,
) -> dict[tuple[int, int], Reason]:
    """Every pair that is not allowed, and why."""
    least = _phase_rules(tables, "phase_least")
    not_after = [rule for rule in tables.rules if rule.kind == "not_after"]
    forbidden = [
        (
            rule,
            [matches(rule.subject, dated.crop, tables) for dated in practices],
            [matches(rule.other, dated.crop, tables) for dated in practices],
        )
        for rule in not_after
    ]
    once = [
        *(
            (rule, rules.break_next[n], rules.break_before[n])
            for n, rule in enumerate(breaks)
            if rule.years >= 1
        ),
        *((rule, rules.run_member[n], rules.run_member[n]) for n, rule in enumerate(runs) if rule.years == 1),
        *((rule, np.array(next_), np.array(before)) for rule, next_, before in forbidden),
    ]
    found: dict[tuple[int, int], Reason] = {}
    for row, previous in enumerate(practices):
        stand = previous.practice.leaves_stand
        rule_of_stand = least.get(stand_of(stand)[0]) if stand else None
        young = rule_of_stand is not None and hay_years(stand) < rule_of_stand.years
        for column, dated in enumerate(practices):
            if pair_index[row, column] < 0:
                found[row, column] = ("season", reasons.get((previous.key, dated.key), "it does not fit"))
                continue
            rule = next((rule for rule, new, before in once if new[column] and before[row]), None)
            if rule is not None:
                found[row, column] = (rule.key, rule.sentence)
            elif young and rule_of_stand is not None and dated.practice.needs_stand != stand:
                found[row, column] = (rule_of_stand.key, rule_of_stand.sentence)
            elif farm.soil_cover:
                bare = bare_in(unsown_spans(programmes[pair_index[row, column]]), farm.soil_cover)
                if bare is not None:
                    day = day_in_words(bare, farm.region)
                    found[row, column] = ("soil_cover", f"the ground would be bare on {day}")
    return found


def unsown_spans(programme: Programme) -> tuple[tuple[int, int], ...]:
    """Spans of bare ground on which nothing is sown either.

    Rules on soil cover count a crop from its sowing, however thin it still is (common practice, no source).
    """
    sown = [(piece.start_day, piece.end_day) for piece in programme.canopies]
    open_days = [
        day
        for first, last in programme.bare_spans
        for day in range(first, last + 1)
        if not any(start <= day <= end for start, end in sown)
    ]
    starts = [day for at, day in enumerate(open_days) if at == 0 or open_days[at - 1] != day - 1]
    ends = [
        day for at, day in enumerate(open_days) if at + 1 == len(open_days) or open_days[at + 1] != day + 1
    ]
    return tuple(zip(starts, ends, strict=True))


def bare_in(bare_spans: Sequence[tuple[int, int]], covered: Sequence[tuple[int, int]]) -> int | None:
    """First bare day of a season that lies in a span of the year with no bare soil; None if there is none.

    Parameters
    ----------
    bare_spans
        Days of the season, negative in the autumn before.
    covered
        Days of the year; a span whose end lies before its start runs over the new year.

    Examples
    --------
    >>> bare_in([(-70, -20)], [(305, 45)])
    -60
    >>> bare_in([(100, 120)], [(305, 45)]) is None
    True
    """
    hits = [
        max(first, start + turn)
        for first, last in bare_spans
        for start, end in covered
        for turn in (-YEAR, 0)
        if max(first, start + turn) <= min(last, (end if end >= start else end + YEAR) + turn)
    ]
    return min(hits, default=None)


def field_reasons(
    farm: Farm,
    field: Field,
    tables: Tables,
    *,
    practice_list: PracticeList,
    last: int,
    programmes: Sequence[Programme],
    pair_index: Integers,
) -> dict[tuple[int, int], Reason]:
    """(year index, practice) that a field does not allow, and why.

    Work before the day of the plan is done only where it belongs to what has been begun on the field.
    """
    most, least = _phase_rules(tables, "phase_most"), _phase_rules(tables, "phase_least")
    decided = (date.fromisoformat(farm.decided_on) - date(farm.first_year, 1, 1)).days
    ends = None if field.lease_end_year is None else field.lease_end_year - farm.first_year
    begun = int(pair_index[last, practice_list.index[field.begun]]) if field.begun else -1
    done = work_before(programmes[begun], decided) if begun >= 0 else frozenset()
    found: dict[tuple[int, int], Reason] = {}
    for number, dated in enumerate(practice_list.all):
        always = _never(field, dated, tables, practice_list, most, region=farm.region)
        stand = dated.practice.leaves_stand
        for year in range(farm.years):
            reason = always
            if reason is None and year == ends and stand:
                rule = least.get(stand_of(stand)[0])
                if rule is not None and hay_years(stand) < rule.years:
                    text = f"the lease of {field.name} ends with the harvest of {field.lease_end_year}"
                    reason = ("lease", f"{text}, before the stand has paid for its sowing")
            if reason is None and year == 0 and pair_index[last, number] >= 0:
                early = work_before(programmes[pair_index[last, number]], decided) - done
                if early:
                    day = day_in_words(min(early)[0], farm.region)
                    reason = ("decided_on", f"its work would have had to begin on {day}, before this plan")
            if reason is not None:
                found[year, number] = reason
    return found


def work_before(programme: Programme, day: int) -> frozenset[tuple[int, str]]:
    """Day and operation of all work of a season that falls before a day."""
    return frozenset((op.day, op.operation) for op in programme.operations if op.day < day)


def _never(
    field: Field,
    dated: DatedPractice,
    tables: Tables,
    practice_list: PracticeList,
    most: Mapping[str, Rule],
    *,
    region: Region,
) -> Reason | None:
    """Why a practice is out on a field in every year."""
    practice = dated.practice
    if not dated.available:
        return "not_offered", practice_list.reasons.get(
            dated.key, "it is not among the practices of this farm"
        )
    names = {practice.key, *crops_in(dated), tables.crops[practice.crop].group, *practice.tags}
    banned = sorted(names & field.bans)
    if banned:
        return "ban", f"{field.name} is closed to {_named(banned[0], tables, region)} in the farm file"
    if practice.needs_stand:
        crop, year = stand_of(practice.needs_stand)
        rule = most.get(crop)
        if rule is not None and year > rule.years:
            return rule.key, rule.sentence
    return None


def _named(banned: str, tables: Tables, region: Region) -> str:
    """A crop or a practice by its name; groups and kinds as they are written."""
    known = tables.crops.get(banned) or tables.practices.get(banned)
    if known is None:
        return banned.replace("_", " ")
    name = known.name_us if region == "us" else known.name_uk
    return name[:1].lower() + name[1:]

"""Side by side: one row for each question asked at the kitchen table, one column for each plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil

from rotation_opt import units
from rotation_opt.records import Alternative, Result
from rotation_opt.report.blocks import Grid
from rotation_opt.report.wording import (
    Wording,
    band,
    half_month,
    mean,
    more_or_less,
    percent_figure,
    percent_range,
    total_a_year,
)

AS_NOW = "as_now"
GOES_ON = "you would rather go on with the plan you have"  # as now, after a year of a plan
OTHER_WAY = "other_way"
FASTEST = "fastest"
MOST_MONEY = "most_money"
NO_FIGURE = "-"
NO_HAY = "none made"
NO_AREA = "0.0"  # a row with nothing else is left away
PROVEN = 0.00005  # a gap that rounds to nothing in the figures printed
NO_PROOF = 1.0  # a gap as large as the figure itself says nothing

Answer = Callable[[Alternative], str]


@dataclass(frozen=True, slots=True)
class Reading:
    """Answers read off one result; shared by the table and the sentences below it.

    Parameters
    ----------
    result : Result
        What the run found.
    wording : Wording
        Words and units of the farm.
    """

    result: Result
    wording: Wording

    # ------------------------------------------------------------ plans

    @property
    def as_now(self) -> Alternative | None:
        return self._by_key(AS_NOW)

    @property
    def most_money(self) -> Alternative | None:
        return self._by_key(MOST_MONEY)

    def _by_key(self, key: str) -> Alternative | None:
        return next((plan for plan in self.result.alternatives if plan.key == key), None)

    def letter(self, plan: Alternative) -> str:
        """A, B, C ... in the order of the result, whichever plans are shown."""
        return "ABCDEFGHIJ"[self.result.alternatives.index(plan)]

    def heading(self, plan: Alternative) -> str:
        return f"{self.letter(plan)}: {plan.title}"

    def apart(self, plan: Alternative) -> str:
        """What sets a plan apart, short enough for a column."""
        return plan.apart.rstrip(".") or NO_FIGURE

    def choose_if(self, plan: Alternative) -> str:
        if plan.key == AS_NOW and self.result.followup is not None:
            return GOES_ON
        return plan.choose_if.rstrip(".") or NO_FIGURE

    # ------------------------------------------------------------ weeds

    def roots_left(self, plan: Alternative, year: int = -1) -> tuple[float, float, float]:
        """Weed roots after the last year (or year ``year``, 0 = today) as a share of today's."""
        today, end = plan.figures.burden[0], plan.figures.burden[year]
        low, likely, high = (late / early if early else 0.0 for early, late in zip(today, end, strict=True))
        return min(low, likely), likely, max(high, likely)

    def roots(self, plan: Alternative) -> str:
        return percent_range(self.roots_left(plan)) if self.any_kept else NO_FIGURE

    @property
    def any_kept(self) -> bool:
        """Whether weeds were counted on a field that is farmed to the end: others have no end to tell of."""
        farm = self.result.farm
        last = farm.first_year + farm.years - 1
        kept = [each for each in farm.fields if each.lease_end_year is None or each.lease_end_year >= last]
        return any(each.patches for each in kept) or not any(each.patches for each in farm.fields)

    def mean_roots(self, plan: Alternative) -> str:
        """The same, mean of the years: what the farm lives with on the way."""
        years = [self.roots_left(plan, year) for year in range(1, len(plan.figures.burden))]
        return percent_range([mean(column) for column in zip(*years, strict=True)] or (0.0, 0.0, 0.0))

    def _worst_of_last_year(self, plan: Alternative) -> tuple[tuple[float, float, float], str, str]:
        """Shoots per m2 where there are most in the last year, with field and weed."""
        last = max((entry.year for entry in plan.fields), default=0)
        stands = [
            (shoots, entry.field, weed)
            for entry in plan.fields
            if entry.year == last
            for weed, shoots in entry.shoots_per_m2.items()
        ]
        return max(stands, key=lambda stand: stand[0][1], default=((0.0, 0.0, 0.0), "", ""))

    def worst_field(self, plan: Alternative) -> str:
        shoots, field, weed = self._worst_of_last_year(plan)
        if not field:
            return "0"
        return f"{band(shoots)}\n{self.wording.weed_short(weed)}, {field}"

    def years_to_target(self, plan: Alternative) -> str:
        low, likely, high = self.result.years_to_target.get(plan.key, (None, None, None))
        never = f"not in {self.result.farm.years}"
        if likely is None:
            return never if low is None else f"{never}\n(at best {low})"
        if low == high:
            return str(likely)
        return f"{likely} ({low} to {never if high is None else high})"

    # ------------------------------------------------------------ money

    def money_a_year(self, plan: Alternative) -> float:
        """Net return of the whole farm, mean of the years."""
        return mean(plan.figures.net_return)

    def per_area(self, plan: Alternative) -> str:
        per_area = self.wording.money_per_area(plan.figures.net_return_per_ha_year)
        return self.wording.money_figure(per_area)

    def whole_farm(self, plan: Alternative) -> str:
        return self.wording.money_figure(self.money_a_year(plan))

    def against_now(self, plan: Alternative) -> str:
        if self.as_now is None or plan is self.as_now:
            return NO_FIGURE
        difference = self.money_a_year(plan) - self.money_a_year(self.as_now)
        return more_or_less(difference, self.wording.money_figure(abs(difference)))

    def leanest(self, plan: Alternative) -> str:
        cash = plan.figures.cash
        if not cash:
            return NO_FIGURE
        least = min(cash)
        year = self.result.farm.first_year + cash.index(least)
        return f"{self.wording.money_figure(least)} in {year}"

    def price_of_cleaner(self, plan: Alternative) -> str:
        """Money a year given up against the plan with most money, for each tenth of today's roots."""
        best = self.most_money
        if best is None or plan is best or plan.key == AS_NOW:
            return NO_FIGURE
        fewer = self.roots_left(best)[1] - self.roots_left(plan)[1]
        if fewer <= 0.005:
            return "not cleaner"
        return self.wording.money_figure((self.money_a_year(best) - self.money_a_year(plan)) / (fewer * 10.0))

    # ------------------------------------------------------------ work

    def busiest(self, plan: Alternative) -> str:
        """The half-month with the most work for the hours there are."""
        own = self.result.farm.labour.hours_by_half_month
        spans = [
            (hours / own[span] if own[span] else hours * 1e6, year, span, hours)
            for year, spans_of_year in enumerate(plan.figures.labour_hours)
            for span, hours in enumerate(spans_of_year)
            if hours > 0.0
        ]
        if not spans:
            return "0"
        _, year, span, hours = max(spans)
        return f"{hours:,.0f} of {own[span]:,.0f}\n{half_month(span)} {self.result.farm.first_year + year}"

    def extra_help(self, plan: Alternative) -> str:
        return f"{mean([sum(spans) for spans in plan.figures.extra_labour_hours]):,.0f}"

    def hired(self, plan: Alternative) -> str:
        hours = {machine: mean(by_year) for machine, by_year in plan.figures.hired_hours.items()}
        lines = [
            f"{self.wording.machine(machine)} {f'{value:,.0f}' if value >= 0.95 else '<1'}"
            for machine, value in sorted(hours.items(), key=lambda each: -each[1])
            if value > 0.05
        ]
        return "\n".join(lines) if lines else "none"

    def hire_cost(self, plan: Alternative) -> str:
        return self.wording.money_figure(mean(plan.figures.hire_cost))

    # ------------------------------------------------------------ land and hay

    def hay(self, plan: Alternative) -> str:
        """Where the hay goes: made = sold + fed + the rest, tons a year; then what the buyer makes."""
        figures = plan.figures
        made = total_a_year({crop: t for crop, t in figures.made_t.items() if self._is_hay(crop)})
        sold = total_a_year(
            {sale: t for sale, t in figures.sold_t.items() if self._is_hay(sale.split(" @ ")[0])}
        )
        unsold = total_a_year({crop: t for crop, t in figures.unsold_t.items() if self._is_hay(crop)})
        fed, bought = mean(figures.fed_t), mean(figures.feed_bought_t)
        rest = made - sold - fed - unsold
        parts = [
            ("sold", sold),
            ("fed", fed),
            ("no buyer", unsold),
            ("stored or lost", rest),
            ("from store", -rest),
        ]
        lines = [f"{self.wording.hay(made)} made"] if made > 0.05 else [NO_HAY]
        lines += [f"{self.wording.hay(t)} {what}" for what, t in parts if t > 0.05]
        if bought > 0.05:
            lines.append(f"{self.wording.hay(bought)} bought")
        for what, table in (("sold standing", figures.sold_t), ("standing, no buyer", figures.unsold_t)):
            tonnes = total_a_year(
                {key: t for key, t in table.items() if self._product(key.split(" @ ")[0]) == "standing"}
            )
            if tonnes > 0.05:
                lines.append(f"{self.wording.hay(tonnes)} {what}")
        return "\n".join(lines)

    def _is_hay(self, crop: str) -> bool:
        return crop == "hay" or self._product(crop) == "hay"

    def _product(self, crop: str) -> str:
        record = self.wording.tables.crops.get(crop)
        return "" if record is None else record.product

    @property
    def any_hay(self) -> bool:
        """Whether any plan grows, makes or buys hay; where none does, the page is silent about it."""
        return any(
            self.land_share(plan, "hay") > 0.0 or self.hay(plan) != NO_HAY
            for plan in self.result.alternatives
        )

    def cut_and_left(self, plan: Alternative) -> str:
        return self.wording.area_figure(mean(plan.figures.cut_and_left_ha))

    def land_share(self, plan: Alternative, group: str) -> float:
        """Share of the land, over all years, under crops of one group."""
        area = {field.name: field.area_ha for field in self.result.farm.fields}
        whole = there = 0.0
        for field, practices in plan.practices.items():
            for key in practices:
                practice = self.wording.practice_record(key)
                crop = None if practice is None else self.wording.tables.crops.get(practice.crop)
                whole += area.get(field, 0.0)
                if crop is not None and group in (crop.group, crop.kind):
                    there += area.get(field, 0.0)
        return there / whole if whole else 0.0

    def fields_changed(self, plan: Alternative) -> str:
        if self.as_now is None or plan is self.as_now:
            return NO_FIGURE
        changed = [name for name, years in plan.practices.items() if years != self.as_now.practices.get(name)]
        return f"{len(changed)} of {len(plan.practices)}"

    def other_crop_type(self, plan: Alternative) -> str:
        if plan.key == AS_NOW:
            return NO_FIGURE
        pair = (AS_NOW, plan.key)
        share = self.result.distances.get(pair, self.result.distances.get(pair[::-1]))
        return NO_FIGURE if share is None else percent_figure(share)

    # ------------------------------------------------------------ trust

    def limits_broken(self, plan: Alternative) -> str:
        return f"{len(plan.breaks)}, see limits" if plan.breaks else "none"

    def how_sure(self, plan: Alternative) -> str:
        if plan.key == AS_NOW:
            return "your own plan"
        gap = plan.proven_gap
        if gap is None or gap >= NO_PROOF:
            return "best found, not proven"
        # the search sees bad years more simply than they are settled
        seen = "likely" if self.result.farm.bad_years_weight > 0.0 and plan.key != FASTEST else "proven"
        if gap < PROVEN:
            return f"{seen} the best"
        best = "the most money" if plan.key == OTHER_WAY else "the best"
        return f"{seen} within {at_most_percent(gap)}% of {best}"

    def second_reckoning(self, plan: Alternative) -> str:
        checks = self.result.checks.get(plan.key, ())
        if not checks:
            return "not done"
        wrong = sum(not check.agrees for check in checks)
        return f"DIFFERS in {wrong} of {len(checks)}" if wrong else f"agrees, {len(checks)} of {len(checks)}"


def at_most_percent(gap: float) -> str:
    """Per cent to one decimal, rounded up: never more is said than is proven."""
    return f"{ceil(gap * 1000.0 - 1e-9) / 10.0:.1f}"


def _on_hay(reading: Reading) -> list[tuple[str, Answer]]:
    """Rows on hay, but for those that would say nothing."""
    if not reading.any_hay:
        return []
    words = reading.wording
    rows: list[tuple[str, Answer]] = [(f"Hay, {words.hay_unit} a year", reading.hay)]
    if any(reading.cut_and_left(plan) != NO_AREA for plan in reading.result.alternatives):
        rows.append((f"Cut and left on the field, {words.area_unit} a year", reading.cut_and_left))
    rows.append(
        ("Land in hay, % over the years", lambda plan: percent_figure(reading.land_share(plan, "hay")))
    )
    return rows


def _weeds_left(reading: Reading) -> list[tuple[str, Answer]]:
    """What the weeds left take after the plan, so that no net return is read without it."""
    found = reading.result.carry_over
    if found is None or all(left.weeds_cost[2] < 0.5 for left in found.plans.values()):
        return []

    def cost(plan: Alternative) -> str:
        left = found.plans.get(plan.key)
        if left is None:
            return NO_FIGURE
        return "nothing" if left.weeds_cost[2] < 0.5 else units.figure(left.weeds_cost[1], 2)

    return [(f"Not in it: what weeds left take later, {reading.wording.money_unit} in all", cost)]


def side_by_side(
    reading: Reading, plans: Sequence[Alternative], more_on_weeds: Sequence[tuple[str, Answer]] = ()
) -> Grid:
    """The summary table.

    Parameters
    ----------
    reading : Reading
        The result and its wording.
    plans : sequence of Alternative
        The columns, from left to right.
    more_on_weeds : sequence of (question, answer)
        Rows below those on the weeds that were counted.

    Returns
    -------
    Grid
        Header: the question, then each plan. Rows in groups: what sets each apart, weeds, money, work, land,
        trust, when to choose which.
    """
    words = reading.wording
    money = words.money_unit
    target = units.density_text(reading.result.farm.target_shoots_per_m2)
    best = reading.most_money
    than = f" than in {reading.letter(best)}" if best is not None else ""
    cleaner = f"Each 10% of today's roots fewer{than} costs"
    groups: list[list[tuple[str, Answer]]] = [
        [("What sets it apart", reading.apart)],
        [
            ("Weed roots left at the end, % of today's (low to high)", reading.roots),
            ("Weed roots, mean of the years, % of today's", reading.mean_roots),
            ("Shoots per m2 at bud stage, last year, worst field", reading.worst_field),
            (f"Years until under {target} shoots per m2", reading.years_to_target),
            *more_on_weeds,
        ],
        [
            (f"Net return, {money} per {words.one_area} and year", reading.per_area),
            (f"Net return, whole farm, {money} a year", reading.whole_farm),
            (f"Against as now, {money} a year", reading.against_now),
            *_weeds_left(reading),
            (f"Net return of the leanest year, {money}", reading.leanest),
            (f"{cleaner}, {money} a year", reading.price_of_cleaner),
        ],
        [
            ("Busiest half-month, hours needed of own hours", reading.busiest),
            ("Extra paid help, hours a year", reading.extra_help),
            ("Machines hired, hours a year", reading.hired),
            (f"Paid for hire, {money} a year", reading.hire_cost),
        ],
        [
            *_on_hay(reading),
            (
                f"Land in {words.word('autumn_sown')} cereals, % over the years",
                lambda plan: percent_figure(reading.land_share(plan, "fall cereal")),
            ),
            (
                "Weeks of bare soil, per field and year",
                lambda plan: units.figure(plan.figures.bare_weeks_per_field_year, 2),
            ),
            ("Fields that change against as now", reading.fields_changed),
            ("Land under another type of crop than as now, %", reading.other_crop_type),
        ],
        [
            ("Limits not kept", reading.limits_broken),
            ("How sure it is the best", reading.how_sure),
            ("Worked out a second time", reading.second_reckoning),
        ],
        [("Choose this if", reading.choose_if)],
    ]
    starts: set[int] = set()
    rows: list[tuple[str, ...]] = []
    for group in groups:
        starts.add(len(rows))
        rows += [(label, *(answer(plan) for plan in plans)) for label, answer in group]
    header = ("Question", *(reading.heading(plan) for plan in plans))
    return Grid(header=header, rows=tuple(rows), groups=frozenset(starts - {0}), even=True)

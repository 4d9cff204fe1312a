"""Which practice may follow which: the shipped rules on a farm, against rules read in plain words."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rotation_opt import climate, farm, practices, tables, timetable
from rotation_opt.practices import DatedPractice, PracticeList
from rotation_opt.records import Farm
from rotation_opt.succession import Succession, bare_in, crops_in, hay_years, matches

ROOT = Path(__file__).parent.parent
TABLES = tables.read()
DEMO = farm.read(ROOT / "examples" / "tamarack_hollow.toml", TABLES)


class Ground:
    """Programmes of one farm, worked out once; rules are put together anew for changed farms."""

    def __init__(self, base: Farm) -> None:
        place = climate.for_farm(base, TABLES)
        self.listed: PracticeList = practices.dated_practices(base, TABLES, place)
        self.programmes, self.pair_index, self.reasons = timetable.all_programmes(self.listed, place, TABLES)

    def rules(self, changed: Farm) -> Succession:
        return Succession.of(
            changed,
            TABLES,
            self.listed,
            programmes=self.programmes,
            pair_index=self.pair_index,
            reasons=self.reasons,
        )


GROUND = Ground(DEMO)
RULES = GROUND.rules(DEMO)
PLACE = {dated.key: at for at, dated in enumerate(GROUND.listed.all)}
HOME = DEMO.fields[0].name


def changed_field(**changes: object) -> Farm:
    """The demo farm with its first field changed."""
    return replace(DEMO, fields=(replace(DEMO.fields[0], **changes), *DEMO.fields[1:]))  # type: ignore[arg-type]


def key_of(reason: tuple[str, str] | None) -> str:
    return reason[0] if reason else ""


# ---------------------------------------------------------------- masks against plain reading


def test_every_pair_that_is_not_allowed_has_a_rule_and_a_sentence() -> None:
    count = len(GROUND.listed.all)
    for before, this in itertools.product(range(count), range(count)):
        assert RULES.may_follow[before, this] == ((before, this) not in RULES.pair_reasons)
    assert all(key and len(sentence) > 10 for key, sentence in RULES.pair_reasons.values())
    assert all(key and len(sentence) > 10 for key, sentence in RULES.field_reasons.values())


def plain_no(past: list[DatedPractice], this: DatedPractice) -> bool:
    """Breaks, runs, forbidden neighbours and hay phases, read rule by rule along a path."""
    last = past[-1]
    for rule in TABLES.rules:
        if rule.kind == "break":
            new = [c for c in crops_in(this, only_new=True) if matches(rule.subject, c, TABLES)]
            there = [
                d for d in past[-rule.years :] if any(matches(rule.subject, c, TABLES) for c in crops_in(d))
            ]
            if new and there:
                return True
        elif rule.kind == "run":
            run = [*past[-rule.years :], this]
            if len(run) > rule.years and all(matches(rule.subject, d.crop, TABLES) for d in run):
                return True
        elif rule.kind == "not_after":
            if matches(rule.subject, this.crop, TABLES) and matches(rule.other, last.crop, TABLES):
                return True
        elif rule.kind == "phase_least":
            stand = last.practice.leaves_stand
            broken = stand and this.practice.needs_stand != stand and stand.startswith(f"{rule.subject}:")
            if broken and hay_years(stand) < rule.years:
                return True
        elif rule.kind == "phase_most":
            needs = this.practice.needs_stand
            if needs.startswith(f"{rule.subject}:") and hay_years(needs) + 1 > rule.years:
                return True
    return False


def test_masks_and_memberships_say_no_exactly_where_the_rules_read_along_the_path_do() -> None:
    rng = np.random.default_rng(7)
    every = GROUND.listed.all
    free = replace(DEMO, decided_on="1900-01-01", soil_cover=())
    field = replace(DEMO.fields[0], bans=frozenset(), lease_end_year=None)
    rules = GROUND.rules(replace(free, fields=(field, *DEMO.fields[1:])))
    history = [every[p] for p in rules.histories[HOME]]
    fits = GROUND.pair_index >= 0
    said_no = said_yes = 0
    for _ in range(3_000):
        past, path = list(history), []
        for _year in range(DEMO.years):
            # follow the calendar and the stands only, so that the rules themselves get much to refuse
            choices = np.flatnonzero(fits[PLACE[past[-1].key]])
            this = every[int(rng.choice(choices))]
            if not this.available:
                break
            no = rules.why_not(HOME, path, this.key)
            assert (no is not None) == plain_no(past, this), (path, this.key, no)
            said_no += no is not None
            said_yes += no is None
            if no is not None:
                break
            past.append(this)
            path.append(this.key)
    assert said_no > 500
    assert said_yes > 500


# ---------------------------------------------------------------- rules one by one


def test_matches_reads_crop_family_group_and_small_grain() -> None:
    assert matches("alfalfa", "alfalfa", TABLES)
    assert matches("family:brassicaceae", "spring_canola", TABLES)
    assert matches("group:pulse", "field_pea", TABLES)
    assert matches("small_grain", "winter_wheat", TABLES)
    assert not matches("small_grain", "corn_grain", TABLES)


def test_a_hay_stand_goes_on_but_new_alfalfa_does_not_follow_alfalfa() -> None:
    assert RULES.may_follow[PLACE["alfalfa_1"], PLACE["alfalfa_2"]]
    # autotoxicity: Nelson, in succession.csv key nelson_autotox
    assert RULES.pair_reasons[PLACE["alfalfa_3"], PLACE["alfalfa_spring"]][0] == "alfalfa_break"


def test_triticale_does_not_follow_wheat_barley_or_itself_but_rye_may() -> None:
    # common practice, no source: take-all and foot diseases; rye suffers least and may be sown after
    for before in ("winter_wheat", "spring_wheat", "spring_barley", "winter_triticale"):
        reason = RULES.pair_reasons.get((PLACE[before], PLACE["winter_triticale"]))
        assert key_of(reason) == f"triticale_after_{before}"
    assert RULES.may_follow[PLACE["winter_triticale"], PLACE["winter_rye"]]
    assert RULES.may_follow[PLACE["oat"], PLACE["winter_triticale"]]


def test_a_smother_crop_is_not_grown_two_years_running() -> None:
    # common practice, no source: a measure for one summer
    for before in ("sudangrass", "sudangrass_one_cut"):
        reason = RULES.pair_reasons.get((PLACE[before], PLACE["sudangrass"]))
        assert key_of(reason) == "sudangrass_break"


def test_a_stand_that_has_not_paid_for_its_sowing_is_not_broken() -> None:
    assert RULES.pair_reasons[PLACE["oat_alfalfa"], PLACE["corn_grain"]][0] == "alfalfa_least"
    assert key_of(RULES.pair_reasons.get((PLACE["alfalfa_1"], PLACE["corn_grain"]))) == "alfalfa_least"
    assert key_of(RULES.pair_reasons.get((PLACE["alfalfa_2"], PLACE["corn_grain"]))) != "alfalfa_least"


def test_a_lease_that_ends_lets_no_young_stand_be_sown_and_nothing_be_grown_after_it() -> None:
    ends = DEMO.first_year + 1
    rules = GROUND.rules(changed_field(lease_end_year=ends, bans=frozenset()))
    assert rules.farmed[HOME].tolist() == [year <= 1 for year in range(DEMO.years)]
    assert not rules.allowed[HOME][1, PLACE["oat_alfalfa"]]
    key, sentence = rules.field_reasons[HOME, 1, PLACE["oat_alfalfa"]]
    assert key == "lease"
    assert str(ends) in sentence
    assert key_of(rules.why_not(HOME, ["oat", "oat"], "oat")) == "lease"
    assert rules.why_not(HOME, ["oat", "oat"], "") is None
    assert key_of(rules.why_not(HOME, ["oat"], "")) == "lease"


@pytest.mark.parametrize(
    ("ban", "practice"),
    [
        ("corn_grain", "corn_grain"),
        ("row crop", "soybean"),
        ("undersown", "oat_alfalfa"),
        ("fallow", "fallow"),
    ],
)
def test_a_field_can_be_closed_to_a_crop_a_group_or_a_kind_of_practice(ban: str, practice: str) -> None:
    if practice not in PLACE:
        pytest.skip("not offered on this farm")
    before = GROUND.rules(changed_field(bans=frozenset()))
    rules = GROUND.rules(changed_field(bans=frozenset({ban})))
    assert key_of(before.field_reasons.get((HOME, 2, PLACE[practice]))) != "ban"
    assert not rules.allowed[HOME][:, PLACE[practice]].any()
    assert rules.field_reasons[HOME, 2, PLACE[practice]][0] == "ban"


def test_a_crop_that_a_field_is_closed_to_is_told_by_its_name() -> None:
    rules = GROUND.rules(changed_field(bans=frozenset({"corn_grain"})))
    sentence = rules.field_reasons[HOME, 2, PLACE["corn_grain"]][1]
    assert "is closed to corn for grain in the farm file" in sentence


def test_work_dated_before_the_decision_is_out_in_the_first_year_only() -> None:
    late = replace(DEMO, decided_on=f"{DEMO.first_year}-03-01")
    early = replace(DEMO, decided_on="1900-01-01")
    no, yes = GROUND.rules(late), GROUND.rules(early)
    refused = [p for (name, year, p), reason in no.field_reasons.items() if reason[0] == "decided_on"]
    assert refused
    assert all(year == 0 for (_, year, _), reason in no.field_reasons.items() if reason[0] == "decided_on")
    assert not [r for r in yes.field_reasons.values() if r[0] == "decided_on"]
    last = no.histories[HOME][-1]
    day = 59  # 1 March
    for practice in range(len(GROUND.listed.all)):
        pair = GROUND.pair_index[last, practice]
        if pair < 0 or not GROUND.listed.all[practice].available:
            continue
        begun = any(op.day < day for op in GROUND.programmes[pair].operations)
        reason = no.field_reasons.get((HOME, 0, practice))
        assert (key_of(reason) == "decided_on") == (begun and key_of(reason) in ("decided_on", ""))


def test_what_has_been_begun_can_go_on_and_so_can_what_needs_no_other_work_so_far() -> None:
    day, year = 59, DEMO.first_year  # 1 March
    no = GROUND.rules(replace(DEMO, decided_on=f"{year}-03-01"))
    last = no.histories[HOME][-1]

    def so_far(practice: int) -> set[tuple[int, str]]:
        work = GROUND.programmes[GROUND.pair_index[last, practice]].operations
        return {(op.day, op.operation) for op in work if op.day < day}

    refused = [
        practice
        for practice in range(len(GROUND.listed.all))
        if key_of(no.field_reasons.get((HOME, 0, practice))) == "decided_on"
    ]
    most = max(refused, key=lambda practice: len(so_far(practice)))
    key = GROUND.listed.all[most].key
    went_on = GROUND.rules(replace(changed_field(begun=key), decided_on=f"{year}-03-01"))
    let_in = [each for each in refused if (HOME, 0, each) not in went_on.field_reasons]
    assert most in let_in
    assert len(let_in) < len(refused)
    for practice in refused:
        assert (practice in let_in) == (so_far(practice) <= so_far(most))


def test_bare_ground_in_a_span_that_must_be_covered_is_refused() -> None:
    winter = GROUND.rules(replace(DEMO, soil_cover=((305, 45),)))  # 2 November to 15 February
    free = GROUND.rules(replace(DEMO, soil_cover=()))
    bare = {pair for pair, reason in winter.pair_reasons.items() if reason[0] == "soil_cover"}
    assert bare
    assert not any(reason[0] == "soil_cover" for reason in free.pair_reasons.values())
    covered_days = {*range(305 - 365, 46), *range(305, 365)}
    for before, this in itertools.product(range(len(PLACE)), range(len(PLACE))):
        pair = GROUND.pair_index[before, this]
        if pair < 0 or (before, this) in free.pair_reasons:
            continue
        programme = GROUND.programmes[pair]
        days = {d for first, last in programme.bare_spans for d in range(first, last + 1)}
        # a crop or cover crop counts from its sowing
        days -= {d for piece in programme.canopies for d in range(piece.start_day, piece.end_day + 1)}
        assert ((before, this) in bare) == bool(days & covered_days)


def test_spans_of_covered_soil_may_run_over_the_new_year() -> None:
    assert bare_in([(-30, -10)], [(320, 20)]) == -30
    assert bare_in([(-60, -46)], [(320, 20)]) is None
    assert bare_in([(-60, -45)], [(320, 20)]) == -45
    assert bare_in([(10, 40)], [(320, 20)]) == 10
    assert bare_in([(100, 130)], [(110, 120)]) == 110
    assert bare_in([], [(0, 364)]) is None


def test_a_practice_that_nobody_offers_is_named() -> None:
    assert key_of(RULES.why_not(HOME, [], "no_such_practice")) == "not_offered"


def test_the_first_fault_of_a_sequence_is_found_with_its_year() -> None:
    rules = GROUND.rules(replace(DEMO, decided_on="1900-01-01", soil_cover=()))
    name, start = next(
        (field.name, dated.key)
        for field in DEMO.fields
        for dated in GROUND.listed.practices
        if dated.crop == "soybean" and rules.why_not(field.name, [], dated.key) is None
    )
    fault = rules.first_no(name, [start, start, start])
    assert fault is not None
    assert fault[0] == 1
    assert fault[1][0] == "soybean_run"

"""Which practices this farm can use, with the dates its climate gives them.

A practice is left out when it cannot ripen here, when a machine it needs is neither owned nor for hire,
when nobody buys its product, when the grower refuses it or when the season is too short for its cuts;
each with a sentence that can be printed. What stands in a field's history or in the grower's present
rotation is dated all the same, since the years after it depend on it.
"""

from rotation_opt.practices.calendar import (
    FIRST_DAY,
    MONTH_STARTS,
    YEAR,
    FieldCalendar,
    day_in_words,
    field_calendar,
    first_day_at,
    own_lateness,
    season_anchors,
    step_days,
)
from rotation_opt.practices.choice import (
    BREAK_STAND,
    PracticeList,
    dated_practices,
    days_late,
    machines_at_hand,
    programmes_of,
    usual_yield,
    why_not_here,
)
from rotation_opt.practices.dating import (
    DatedPractice,
    cut_days,
    date_practice,
    sowing_day,
    stand_of,
    undersown_day,
)
from rotation_opt.practices.stages import STAGES, WeedStages, main_weed, weed_stages

__all__ = [
    "BREAK_STAND",
    "FIRST_DAY",
    "MONTH_STARTS",
    "STAGES",
    "YEAR",
    "DatedPractice",
    "FieldCalendar",
    "PracticeList",
    "WeedStages",
    "cut_days",
    "date_practice",
    "dated_practices",
    "day_in_words",
    "days_late",
    "field_calendar",
    "first_day_at",
    "machines_at_hand",
    "main_weed",
    "own_lateness",
    "programmes_of",
    "season_anchors",
    "sowing_day",
    "stand_of",
    "step_days",
    "undersown_day",
    "usual_yield",
    "weed_stages",
    "why_not_here",
]

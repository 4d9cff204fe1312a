"""Published weed trials run through the model: what it says against what was seen.

A trial is one or more seasons of work and crops, each from 1 November to 1 November, in the weather of its
place, and the same for what it is compared with. Seasons that several trials share are run once, and those
of all stations are run together, because a fit asks for this hundreds of times.
"""

from __future__ import annotations

from rotation_opt.tables import Trial
from rotation_opt.trials.bench import TrialBench
from rotation_opt.trials.results import (
    BAND,
    CLOSE,
    Match,
    Score,
    TrialResult,
    at_the_edge,
    log_errors,
    order_errors,
    orders_kept,
    run_trials,
    score,
)

__all__ = [
    "BAND",
    "CLOSE",
    "Match",
    "Score",
    "Trial",
    "TrialBench",
    "TrialResult",
    "at_the_edge",
    "log_errors",
    "order_errors",
    "orders_kept",
    "run_trials",
    "score",
]

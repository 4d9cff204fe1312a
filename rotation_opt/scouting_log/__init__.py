"""The scouting log: a CSV file, one row a stop, read, checked, added to and summed up."""

from rotation_opt.scouting_log.appending import append
from rotation_opt.scouting_log.densities import (
    Clumping,
    clumping,
    common_k,
    log_likelihood,
    mean_per_m2,
    shoots_per_m2,
)
from rotation_opt.scouting_log.reading import default_path, read, read_log
from rotation_opt.scouting_log.records import COLUMNS, STAGES, Log, Visit, folded
from rotation_opt.scouting_log.summing import Summary, patch_area_ha, summarise

__all__ = [
    "COLUMNS",
    "STAGES",
    "Clumping",
    "Log",
    "Summary",
    "Visit",
    "append",
    "clumping",
    "common_k",
    "default_path",
    "folded",
    "log_likelihood",
    "mean_per_m2",
    "patch_area_ha",
    "read",
    "read_log",
    "shoots_per_m2",
    "summarise",
]

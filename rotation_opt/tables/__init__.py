"""The crop tables: where they are, how they are read, and whether they keep to their own column list.

Every number the models use stands in ``crop_tables/`` with its source. ``columns.csv`` says what each
column and each quantity may hold; whatever does not keep to it is refused with file, line and column.
"""

from rotation_opt.tables.build import DRAW_TABLE, FIGURE_FILES, MONTHS
from rotation_opt.tables.lookup import Tables, folder, read
from rotation_opt.tables.trials import Trial, TrialSeason

__all__ = ["DRAW_TABLE", "FIGURE_FILES", "MONTHS", "Tables", "Trial", "TrialSeason", "folder", "read"]

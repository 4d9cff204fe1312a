"""The dated programme of work of one season: what is done on which day, and what covers the ground.

A season belongs to a pair of practices: it runs from the harvest of the one before to the harvest of the
one itself. Work in the crop depends on the practice alone and is dated once; only the time between crops
is dated for every pair.
"""

from rotation_opt.timetable.work import Timetable, all_programmes, fits, in_weather, programme

__all__ = ["Timetable", "all_programmes", "fits", "in_weather", "programme"]

"""The questions of the interview, in the order in which growers ask them of a new crop.

Is there a market, does the climate allow it, does it pay, is there the equipment, is there the time and
a place. Nothing here reads or writes: the command line does.
"""

from rotation_opt.farm_questions.machine import COMMANDS, Interview, Question, State

__all__ = ["COMMANDS", "Interview", "Question", "State"]

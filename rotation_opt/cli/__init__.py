"""The command line: reads what was asked, calls the rooms below, prints."""

from rotation_opt.cli.commands import main
from rotation_opt.cli.edit import set_values
from rotation_opt.cli.followup import replan
from rotation_opt.cli.interview import interview
from rotation_opt.cli.scout import scout
from rotation_opt.cli.table import what_if, why
from rotation_opt.cli.worksheet import worksheet, worksheet_read

main.add_command(interview)
main.add_command(replan)
main.add_command(scout)
main.add_command(set_values)
main.add_command(what_if)
main.add_command(why)
main.add_command(worksheet)
main.add_command(worksheet_read)

__all__ = ["main"]

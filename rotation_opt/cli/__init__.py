"""The command line: reads what was asked, calls the rooms below, prints."""

from rotation_opt.cli.commands import main
from rotation_opt.cli.edit import set_values
from rotation_opt.cli.interview import interview
from rotation_opt.cli.scout import scout

main.add_command(interview)
main.add_command(scout)
main.add_command(set_values)

__all__ = ["main"]

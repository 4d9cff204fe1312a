"""The command line: reads what was asked, calls the rooms below, prints."""

from rotation_opt.cli.commands import main

__all__ = ["main"]

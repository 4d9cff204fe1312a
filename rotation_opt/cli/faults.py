"""What a user can put right becomes one clean message; everything else keeps its traceback."""

from __future__ import annotations

from typing import Any

import click

from rotation_opt.errors import InputError, RotationOptError

STOPPED = 130  # what shells use for "ended by Ctrl-C"


class Commands(click.Group):
    """The commands, with faults and Ctrl-C turned into plain words and their exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except RotationOptError as fault:
            click.echo(f"Error: {_in_words(fault)}", err=True)
            ctx.exit(fault.exit_code)
        except KeyboardInterrupt:
            click.echo("Stopped. No file was written.", err=True)
            ctx.exit(STOPPED)


def _in_words(fault: RotationOptError) -> str:
    if isinstance(fault, InputError) and len(fault.faults) > 1:
        listed = "\n".join(f"  - {one}" for one in fault.faults)
        return f"{len(fault.faults)} things to put right:\n{listed}"
    return str(fault)

"""What a user can put right becomes one clean message; everything else keeps its traceback."""

from __future__ import annotations

import errno
import os
import sys
from typing import Any

import click

from rotation_opt.cli.written import told
from rotation_opt.errors import InputError, RotationOptError

NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO})  # of where the report goes
STOPPED = 130  # what shells use for "ended by Ctrl-C"


class Commands(click.Group):
    """The commands, with faults and Ctrl-C turned into plain words and their exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except RotationOptError as fault:
            _say(f"Error: {_in_words(fault)}", *told(ctx))
            ctx.exit(fault.exit_code)
        except KeyboardInterrupt:
            _say(" ".join(["Stopped.", *(told(ctx) or ["No file was written."])]))
            ctx.exit(STOPPED)
        except OSError as fault:
            if fault.errno not in NO_ROOM or fault.filename is not None:
                raise
            _silence()
            _say(f"Error: the report could not be written in full ({fault.strerror}).", *told(ctx))
            ctx.exit(1)


def _say(*sentences: str) -> None:
    click.echo("\n".join(sentences), err=True)


def _in_words(fault: RotationOptError) -> str:
    if isinstance(fault, InputError) and len(fault.faults) > 1:
        listed = "\n".join(f"  - {one}" for one in fault.faults)
        return f"{len(fault.faults)} things to put right:\n{listed}"
    return str(fault)


def _silence() -> None:
    """What is still held for standard output cannot go there either: let it go nowhere, without a word."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)

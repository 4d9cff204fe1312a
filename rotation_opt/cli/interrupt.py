"""Ctrl-C ends a long search with what it has; a second one leaves."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType

import click

STOPPING = "Stopping with the best plans so far. Press Ctrl-C again to leave at once."


@contextlib.contextmanager
def asked_to_stop() -> Iterator[Callable[[], bool]]:
    """Gives a question to ask now and then: has somebody pressed Ctrl-C?"""
    if threading.current_thread() is not threading.main_thread():
        yield lambda: False  # only the main thread hears signals
        return
    pressed = threading.Event()

    def hear(number: int, frame: FrameType | None) -> None:
        if pressed.is_set():
            raise KeyboardInterrupt
        pressed.set()
        click.echo(STOPPING, err=True)

    before = signal.signal(signal.SIGINT, hear)
    try:
        yield pressed.is_set
    finally:
        signal.signal(signal.SIGINT, before)

"""Text of a file that somebody hands in, or one clear sentence why there is none."""

from __future__ import annotations

from pathlib import Path

from rotation_opt.errors import Fault, InputError

LARGEST_BYTES = 50_000_000


def read(path: Path, what: str) -> str:
    """Text of a file in UTF-8.

    Parameters
    ----------
    path : Path
    what : str
        What the file should be, for the sentence that turns it down.

    Raises
    ------
    InputError
        If it cannot be opened, is larger than `LARGEST_BYTES`, or is not UTF-8.
    """
    try:
        raw = path.read_bytes()
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or "the name cannot be used"
        raise InputError([Fault(str(path), f"no readable file ({reason})", f"needed is {what}")]) from None
    if len(raw) > LARGEST_BYTES:
        raise InputError([Fault(path.name, f"{len(raw) / 1e6:.0f} MB", f"needed is {what}, at most 50 MB")])
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        found = "letters that are not saved as UTF-8"
        raise InputError([Fault(path.name, found, "allowed is UTF-8", "Save it again in UTF-8.")]) from None

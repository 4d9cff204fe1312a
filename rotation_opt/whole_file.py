"""A file written so that it is at any moment the old one or the new one, whole, whoever dies on the way.

The new content goes to a file beside the old one, is brought to the disk and then takes its name. For
``plan.json`` that file is ``.plan.json.new``, and ``.plan.json.lock`` keeps other writers out meanwhile. A
writer that is killed leaves these two lying and nothing else: the system lets go of the lock, and the next
write of the same file takes both away.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import stat
import time
from collections.abc import Iterator
from pathlib import Path

from rotation_opt.errors import RotationOptError

PATIENCE_S = 10.0  # that another writer is waited for
_LOOK_AGAIN_S = 0.02
_NO_LOCKS = frozenset({errno.ENOLCK, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP})


def write(path: Path, content: bytes, *, patience_s: float = PATIENCE_S) -> None:
    """Write a file: afterwards it is the new one, after a fault the old one.

    Parameters
    ----------
    path : Path
        A link stays a link: what it points to is written. A file that is there keeps its mode.
    content : bytes
    patience_s : float
        How long another writer of the same file is waited for. [s]

    Raises
    ------
    RotationOptError
        If the file cannot be written, or another writer does not come to an end.
    """
    with alone(path, patience_s=patience_s, needed=False) as locked:
        # without a lock two writers could meet in one file beside: each one takes a name of its own
        put(path, content, mark="" if locked else f".{secrets.token_hex(4)}")


def put(path: Path, content: bytes, *, mark: str = "") -> None:
    """The same for a caller that holds the file by `alone`: it may have read it before.

    Parameters
    ----------
    path : Path
    content : bytes
    mark : str, optional
        Goes into the name of the file beside.

    Raises
    ------
    RotationOptError
        If the file cannot be written. Then it is the old one, and nothing lies beside it.
    """
    target = _target(path)
    beside = target.with_name(f".{target.name}{mark}.new")
    try:
        kept = _mode(target)
        with contextlib.suppress(FileNotFoundError):
            beside.unlink()  # of a writer that was killed
        try:
            _to_disk(beside, content, 0o666 if kept is None else kept)
            if kept is not None:
                beside.chmod(kept)  # what the umask took away
            beside.replace(target)
        finally:
            with contextlib.suppress(OSError):  # after a success it is gone
                beside.unlink()
    except OSError as fault:
        raise _refused(path, fault) from fault
    _folder_to_disk(target.parent)


@contextlib.contextmanager
def alone(path: Path, *, patience_s: float = PATIENCE_S, needed: bool = True) -> Iterator[bool]:
    """No second writer of a file meanwhile.

    Parameters
    ----------
    path : Path
    patience_s : float
        How long another writer is waited for. [s]
    needed : bool
        Whether a file system that knows no locks is a fault.

    Yields
    ------
    bool
        False where there are no locks.

    Raises
    ------
    RotationOptError
        If the lock cannot be had.
    """
    target = _target(path)
    lock = target.with_name(f".{target.name}.lock")
    until = time.monotonic() + patience_s
    handle: int | None = None
    try:
        while (handle := _taken(lock)) is None:
            if time.monotonic() > until:
                raise RotationOptError(
                    f"{path}: another program is writing to it (it holds {lock.name}). Nothing was written; "
                    "try again in a moment."
                )
            time.sleep(_LOOK_AGAIN_S)
    except OSError as fault:
        if fault.errno in _NO_LOCKS:
            _let_go(lock, None)
        if needed or fault.errno not in _NO_LOCKS:
            raise _refused(path, fault) from fault
    try:
        yield handle is not None
    finally:
        _let_go(lock, handle)


def _target(path: Path) -> Path:
    return Path(os.path.realpath(path))


def _refused(path: Path, fault: OSError) -> RotationOptError:
    return RotationOptError(f"{path}: cannot be written ({fault.strerror or fault}).")


def _mode(target: Path) -> int | None:
    """Who may read and write a file; None where there is none. A rename asks nobody: so it is asked here."""
    try:
        found = target.stat().st_mode
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(found):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if not stat.S_ISREG(found):
        raise OSError(errno.EINVAL, "it is no ordinary file")
    if not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    return found & 0o777


def _to_disk(beside: Path, content: bytes, mode: int) -> None:
    """A new file, never one that somebody has put there meanwhile, and never more open than the old one."""
    with open(beside, "xb", opener=lambda name, flags: os.open(name, flags, mode)) as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _folder_to_disk(folder: Path) -> None:
    """That the name now means the new file is to outlive a power cut too; some systems cannot be asked."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


# ---------------------------------------------------------------- the lock

if os.name == "nt":  # pragma: no cover

    def _hold(handle: int) -> None:
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]

else:

    def _hold(handle: int) -> None:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _taken(lock: Path) -> int | None:
    """Handle of the lock file, None while another one holds it."""
    handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        try:
            _hold(handle)
        except (BlockingIOError, PermissionError):
            os.close(handle)
            return None
        if _same(lock, handle):
            return handle
    except BaseException:
        with contextlib.suppress(OSError):
            os.close(handle)
        raise
    os.close(handle)  # its holder took the file away while we waited: the next one has a new file
    return None


def _same(lock: Path, handle: int) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), lock.stat())
    except FileNotFoundError:
        return False


def _let_go(lock: Path, handle: int | None) -> None:
    """Take the file away while it is held, so that nobody holds a file that is gone without noticing."""
    with contextlib.suppress(OSError):  # another system may not allow it: then the file stays, unlocked
        lock.unlink()
    if handle is not None:
        with contextlib.suppress(OSError):  # the file is written by now
            os.close(handle)

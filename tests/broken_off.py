"""Work broken off at every step of its writing: killed, with a disk that fails, or by Ctrl-C.

``broken_off`` runs some work in a process of its own up to the moment when it first opens a file for writing.
From there on one child after another goes on alone, each one broken off at another step, so that what comes
before the first step is paid for once. A step is any call that asks the system to do something to a file,
whatever the writer is like: so a writer that damages files is found out.

To be used in a process without threads only: it forks.
"""

from __future__ import annotations

import errno
import io
import json
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType, ModuleType
from typing import Any, NoReturn

from rotation_opt import whole_file

STEPS = frozenset(
    {"open", "write", "writelines", "flush", "close", "truncate", "ftruncate", "sendfile", "copy_file_range"}
    | {"fsync", "fdatasync", "chmod", "fchmod", "flock"}
    | {"replace", "rename", "link", "symlink", "unlink", "remove"}
)
ROOMS = frozenset({"posix", "_io", "fcntl"})
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
KILL, FAIL, CTRL_C = "kill", "fail", "ctrl-c"
WHOLE = "not broken off"

Files = dict[str, Any]  # what stands in a folder: name -> content and mode, or where a link points
Work = Callable[[], tuple[int, str]]  # gives the exit code and what was said
Judge = Callable[[Files, Files], str]  # takes the files before and now and says what is wrong with them


@dataclass(slots=True)
class Report:
    """What became of one piece of work that was broken off at each of its steps."""

    steps: list[str] = field(default_factory=list)
    tried: dict[str, int] = field(default_factory=dict)
    damage: list[str] = field(default_factory=list)


def broken_off(
    work: Work, folder: Path, modes: tuple[str, ...] = (KILL, FAIL, CTRL_C), judge: Judge | None = None
) -> Report:
    """Break a piece of work off at each of its steps, and see what it leaves.

    Parameters
    ----------
    work : callable
    folder : Path
        Where it writes. All files there are to be as they were or as they become; those whose names end in
        ``.part``, which change several times, are for the judge.
    modes : tuple of str
    judge : callable, optional
    """
    out, into = os.pipe()
    process = os.fork()
    if process == 0:
        _Process(folder, modes, judge, into).run(work)
    os.close(into)
    said = _all_of(out)
    os.waitpid(process, 0)
    return Report(**json.loads(said))


# ---------------------------------------------------------------- what stands in a folder


def files_in(folder: Path) -> Files:
    found: Files = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            found[name] = str(path.readlink())
        elif path.is_file():
            found[name] = (path.read_bytes(), path.stat().st_mode & 0o777)
    return found


def restore(folder: Path, files: Files) -> None:
    shutil.rmtree(folder)
    for name, what in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(what, str):
            path.symlink_to(what)
        else:
            path.write_bytes(what[0])
            path.chmod(what[1])


def is_beside(name: str) -> bool:
    """Whether it is a file that a writer may leave lying when it is killed."""
    last = name.rpartition("/")[2]
    return last.startswith(".") and last.endswith((".new", ".lock"))


# ---------------------------------------------------------------- breaking off


class _Steps:
    """Counts the steps of this process and breaks it off at one of them."""

    def __init__(self, mode: str, at: int) -> None:
        self.mode, self.at = mode, at
        self.seen: list[str] = []

    def __call__(self, frame: FrameType, event: str, called: Any) -> None:
        if event not in {"c_call", "c_return"} or called.__name__ not in STEPS:
            return
        owner = called.__self__
        room = owner.__name__ if isinstance(owner, ModuleType) else type(owner).__module__
        if room not in ROOMS or isinstance(owner, io.StringIO | io.BytesIO):
            return
        self.seen.append(f"{'before' if event == 'c_call' else 'after'} {called.__name__}")
        if len(self.seen) == self.at:
            if self.mode == KILL:
                os.kill(os.getpid(), signal.SIGKILL)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)) if self.mode == FAIL else KeyboardInterrupt


class _Process:
    """Runs the work up to its first step, sends out a child for each step, and tells what they left."""

    def __init__(self, folder: Path, modes: tuple[str, ...], judge: Judge | None, into: int) -> None:
        self.folder, self.modes, self.judge, self.into = folder, modes, judge, into
        self.steps: _Steps | None = None  # of a child

    def run(self, work: Work) -> NoReturn:
        """The process itself ends in `_send_out`: what stands below the work is done by children only."""
        sys.addaudithook(self._heard)
        try:
            code, words = work()
        except BaseException as fault:  # what a user would see as a traceback
            code, words = 99, f"Traceback: {fault!r}"
        sys.setprofile(None)
        os.write(self.into, json.dumps([code, words, self.steps.seen if self.steps else []]).encode())
        os._exit(0)

    def _heard(self, event: str, arguments: tuple[Any, ...]) -> None:
        if event != "open" or self.steps is not None:
            return
        path, _, flags = arguments
        if isinstance(path, str | os.PathLike) and flags & WRITING and self.folder in Path(path).parents:
            self.steps = _Steps(WHOLE, 0)  # hears no more
            self._send_out()
            sys.setprofile(self.steps)

    def _send_out(self) -> None:
        """Comes back in children only."""
        report = Report()
        old, new = files_in(self.folder), Files()
        for mode, at in self._order(report):
            out, into = os.pipe()
            process = os.fork()
            if process == 0:
                self.into, self.steps = into, _Steps(mode, at)
                return
            os.close(into)
            said = _all_of(out)
            status = os.waitpid(process, 0)[1]
            code, words, seen = json.loads(said) if said else (-os.WTERMSIG(status), "", [])
            ended = _Ended(
                mode, report.steps[at - 1] if at else "", code, words, old, new, files_in(self.folder)
            )
            if mode == WHOLE:
                new, report.steps = ended.now, seen
                faults = [] if code == 0 else [f"{code}: {words}"]
            else:
                report.tried[mode] = report.tried.get(mode, 0) + 1
                faults = [*ended.damage(), *ended.untrue()]
                if self.judge is not None:
                    faults += filter(None, [self.judge(old, ended.now)])
                if mode == KILL:
                    faults += _next_write(self.folder, {*old, *new})
            report.damage += [f"{mode} {ended.step} (step {at}): {fault}" for fault in faults]
            restore(self.folder, old)
        os.write(self.into, json.dumps({name: getattr(report, name) for name in Report.__slots__}).encode())
        os._exit(0)

    def _order(self, report: Report) -> Iterator[tuple[str, int]]:
        yield WHOLE, 0
        for mode in self.modes:
            for at, step in enumerate(report.steps, 1):
                # what stands in the files after a step is what stands there before the next one
                if mode == CTRL_C or step.startswith("before") or (mode == KILL and at == len(report.steps)):
                    yield mode, at


def _all_of(out: int) -> str:
    with os.fdopen(out) as stream:
        return stream.read()


# ---------------------------------------------------------------- what it left, and what it said


@dataclass(frozen=True, slots=True)
class _Ended:
    """A child that has come to its end: how, what it said, and the files before, as they become, and now."""

    mode: str
    step: str
    code: int
    words: str
    old: Files
    new: Files
    now: Files

    @property
    def changing(self) -> list[str]:
        return [name for name, what in self.new.items() if what != self.old.get(name)]

    def damage(self) -> Iterator[str]:
        """Files that are lost or no longer whole, or lie there and should not.

        What cannot be taken away stays, and so does a lock that was not had: only its holder may do that.
        """
        for name in sorted({*self.old, *self.new, *self.now}):
            found = self.now.get(name)
            if is_beside(name):
                if self.mode == FAIL and not self.step.endswith(("unlink", "flock")):
                    yield f"{name} is left lying"
            elif found not in (self.old.get(name), self.new.get(name)) and not name.endswith(".part"):
                yield f"{name} is lost" if found is None else f"{name} is neither old nor new: {found!r:.80}"

    def untrue(self) -> Iterator[str]:
        """What the words say of the files and is not so."""
        if self.mode == KILL:
            if self.code != -signal.SIGKILL:
                yield f"was not killed, but {self.code}: {self.words}"
            return
        undone = [name for name in self.changing if self.now.get(name) != self.new[name]]
        if self.mode == FAIL and self.code == 0:
            yield from (f"{name} is not new, but it ended well" for name in undone)
            return
        if self.code != (1 if self.mode == FAIL else 130) or "Traceback" in self.words:
            yield f"ended with {self.code}: {self.words}"
        if self.mode == FAIL and "cannot be" not in self.words:
            yield f"did not say what cannot be done: {self.words}"
        listed = self.words.partition("Already written: ")[2].partition(". ")[0].strip().removesuffix(".")
        written = {path.rpartition("/")[2] for path in listed.split(", ")}
        links = {to: name for name, to in self.old.items() if isinstance(to, str)}
        for name in self.changing:
            called = links.get(name, name)
            if name not in undone and called not in self.words:
                yield f"{name} is new, but it said: {self.words[-300:]}"
            if name in undone and called in written:
                yield f"{name} is not new, but it said: {self.words[-300:]}"
        if "No file was written" in self.words and len(undone) < len(self.changing):
            yield f"files are new, but it said: {self.words[-300:]}"


def _next_write(folder: Path, names: set[str]) -> Iterator[str]:
    """A dead writer keeps nobody out, and what it left goes with the next write."""
    for name in names:
        try:
            whole_file.write(folder / name, b"next", patience_s=0.0)
            found = (folder / name).read_bytes()
        except Exception as fault:
            yield f"{name} could not be written afterwards: {fault!r}"
        else:
            if found != b"next":
                yield f"{name} was not written afterwards"
    yield from (f"{name} lies there after the next write" for name in files_in(folder) if is_beside(name))


def killed_at_random(work: Callable[[int], None], rounds: int, longest_s: float) -> Iterator[list[int]]:
    """Let a child work until it is killed at a random moment, again and again.

    Parameters
    ----------
    work : callable
        Goes on for ever; writes a line with a number to the file descriptor for all that it has done.
    rounds : int
    longest_s : float
        Before a child is killed. [s]

    Yields
    ------
    list of int
        What the child has told, after it is dead.
    """
    chance = random.Random(5)
    for _ in range(rounds):
        out, into = os.pipe()
        process = os.fork()
        if process == 0:
            work(into)
            os._exit(0)
        os.close(into)
        time.sleep(chance.uniform(0.0, longest_s))
        os.kill(process, signal.SIGKILL)
        told = _all_of(out)
        assert os.WIFSIGNALED(os.waitpid(process, 0)[1]), "it ended by itself"
        yield [int(line) for line in told.splitlines()]

"""Work done aside: in a copy of the process on a second core, while this one goes on.

A copy knows all that is known here at no cost, and only its answers come back, one after the
other. Where no copy can be made the work is done in turn, each answer when it is asked for: the
answers are the same. Every page that either side writes to is copied once more, so few copies
with several answers each are better than many.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from importlib import import_module
from itertools import islice
from typing import IO, Any, NoReturn, Protocol, Self

from restitch.errors import RestitchError

PIPE_BYTES = 1 << 20
"""The most that Linux grants everyone."""

Work = Callable[[], Iterator[Any]]
"""Gives its answers one by one: a generator function, or ``partial(map, function, [argument])``."""


class Aside(Protocol):
    """How work is set aside: gives its answers, waiting for each."""

    def __call__(self, work: Work, /) -> AbstractContextManager[Iterator[Any]]:
        """Begin the work; when the block is left unfinished work is given up."""


@contextmanager
def in_turn(work: Work) -> Iterator[Iterator[Any]]:
    """The work is done here, when its answers are asked for."""
    yield work()


@contextmanager
def forked(work: Work) -> Iterator[Iterator[Any]]:
    """The work is done in a forked copy, where that is safe and there is a second core.

    Answers must be picklable. An expected failure is an answer too, and is raised here. A copy
    that fails otherwise costs only time: the work is then done here, where its error belongs.
    """
    begun = _begun(work) if _can_fork() else None
    if begun is None:
        yield work()
        return
    child, answers = begun
    with os.fdopen(answers, "rb") as pipe:
        try:
            yield _heard(pipe, work)
        finally:
            with suppress(OSError):
                os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)


class Told:
    """A value that work set aside waits for: told here, heard in the copy. A context manager."""

    def __init__(self) -> None:
        self._home = os.getpid()
        self._value: Any = None
        self._ends: tuple[IO[bytes], ...] = ()
        if not _can_fork():
            return
        with suppress(OSError):  # then no copy hears anything, and its work is done here
            hears, tells = _wide_pipe()
            os.set_blocking(tells, False)
            self._ends = os.fdopen(hears, "rb"), os.fdopen(tells, "wb")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for end in self._ends:
            end.close()

    def tell(self, value: Any) -> None:
        """Tell the value, once; it must be picklable. Never waits: a copy may be waiting to be
        heard itself. One that hears a part only falls silent, and its work is done here."""
        self._value = value
        if self._ends:
            with suppress(OSError), self._ends[1] as pipe:
                pickle.dump(value, pipe, pickle.HIGHEST_PROTOCOL)

    def heard(self) -> Any:
        """The value: here as it was told, in a copy as soon as it is told."""
        if os.getpid() != self._home:
            hears, tells = self._ends
            tells.close()  # else nobody would notice that the teller is gone
            with hears as pipe:
                self._value = pickle.load(pipe)
            self._home = os.getpid()
        return self._value


def load(modules: Iterable[str]) -> None:
    """Load modules: an import is work, like any other."""
    for module in modules:
        import_module(module)


def _wide_pipe() -> tuple[int, int]:
    """A pipe that holds most answers whole, so that a copy goes on before anyone listens."""
    ends = os.pipe()
    if sys.platform == "linux":
        import fcntl

        with suppress(OSError):  # what a user may hold in pipes has its limit too
            fcntl.fcntl(ends[1], fcntl.F_SETPIPE_SZ, PIPE_BYTES)
    return ends


def _can_fork() -> bool:
    """Whether a copy is safe and may be of use: other systems' libraries do not stand it, and
    threads would stand still in it for good."""
    return sys.platform == "linux" and threading.active_count() == 1 and _cores() > 1


def as_cores_allow() -> Aside:
    """How work is best set aside at this moment: in a copy where that may find an idle core."""
    return forked if _can_fork() and _others_running() < _cores() else in_turn


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1


def _others_running() -> float:
    """Threads of the system that want a core right now, but for this one. (Its load average is of
    the last minute: after heavy work it tells of cores that are idle by now.)"""
    try:
        with open("/proc/loadavg", encoding="ascii") as file:
            return int(file.read().split()[3].partition("/")[0]) - 1
    except (OSError, IndexError, ValueError):
        return os.getloadavg()[0]


def _begun(work: Work) -> tuple[int, int] | None:
    """A copy at work and where its answers come from; None where the system grants none."""
    try:
        answers, says = _wide_pipe()
    except OSError:
        return None
    try:
        child = os.fork()
    except OSError:
        os.close(answers)
        os.close(says)
        return None
    if not child:
        os.close(answers)  # else nobody would notice that the listener is gone
        _say(work, says)
    os.close(says)
    _lead_group(child)
    return child, answers


def _lead_group(process: int) -> None:
    """Let a copy lead a group of its own, so that what it starts ends with it."""
    with suppress(OSError):  # both sides ask for it, whoever comes first
        os.setpgid(process, process)


def _say(work: Work, says: int) -> NoReturn:
    """Write each answer as (answer, failure, whether more may follow) and end this copy, without
    what the process does at its own end."""
    try:
        _lead_group(os.getpid())
        with os.fdopen(says, "wb") as pipe:
            try:
                for answer in work():
                    _write((answer, None, True), pipe)
                _write((None, None, False), pipe)
            except RestitchError as error:
                _write((None, error, False), pipe)
    finally:
        os._exit(0)


def _write(said: tuple[Any, RestitchError | None, bool], pipe: IO[bytes]) -> None:
    pickle.dump(said, pipe, pickle.HIGHEST_PROTOCOL)
    pipe.flush()


def _heard(pipe: IO[bytes], work: Work) -> Iterator[Any]:
    """What the copy answers; done here from where it falls silent."""
    heard = 0
    while True:
        try:
            answer, failure, more = pickle.load(pipe)
        except (EOFError, pickle.UnpicklingError):
            yield from islice(work(), heard, None)
            return
        if failure is not None:
            raise failure
        if not more:
            return
        heard += 1
        yield answer

"""Work done aside: in a copy of the process on a second core, while this one goes on.

A copy knows all that is known here at no cost, and only its answer comes back. Where no copy can
be made the work is done in turn, when its answer is asked for: the answer is the same.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import NoReturn, Protocol, TypeVar

from restitch.errors import RestitchError

T = TypeVar("T")


class Aside(Protocol):
    """How work is set aside: gives a function that waits for the answer."""

    def __call__(self, work: Callable[[], T], /) -> AbstractContextManager[Callable[[], T]]:
        """Begin the work; when the block is left unfinished work is given up."""


@contextmanager
def in_turn(work: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """The work is done here, when its answer is asked for."""
    yield work


@contextmanager
def forked(work: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """The work is done in a forked copy, where that is safe and a second core may be free.

    The answer must be picklable. An expected failure is an answer too, and is raised here. A copy
    that fails otherwise costs only time: the work is then done here, where its error belongs.
    """
    if not _can_fork():
        yield work
        return
    answer, says = os.pipe()
    child = os.fork()
    if not child:
        _say(work, says)
    os.close(says)
    with os.fdopen(answer, "rb") as pipe:
        try:
            yield lambda: _heard(pipe.read(), work)
        finally:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)


def _can_fork() -> bool:
    """Whether a copy is safe and worth it: other systems' libraries do not stand it, threads would
    stand still in it for good, and without an idle core it would only cost."""
    if sys.platform != "linux" or threading.active_count() > 1:
        return False
    cores = len(os.sched_getaffinity(0))
    return cores > 1 and os.getloadavg()[0] < cores


def _say(work: Callable[[], T], says: int) -> NoReturn:
    """Write (answer, failure) and end this copy, without what the process does at its own end."""
    try:
        with os.fdopen(says, "wb") as pipe:
            said: tuple[T | None, RestitchError | None]
            try:
                said = work(), None
            except RestitchError as error:
                said = None, error
            pickle.dump(said, pipe, pickle.HIGHEST_PROTOCOL)
    finally:
        os._exit(0)


def _heard(said: bytes, work: Callable[[], T]) -> T:
    """What the copy answered; done here where it did not."""
    answer: T
    try:
        answer, failure = pickle.loads(said)
    except (EOFError, pickle.UnpicklingError):
        return work()
    if failure is not None:
        raise failure
    return answer

"""The command line: thin commands over the library."""

from __future__ import annotations

import gc
import os
import sys
from contextlib import suppress

RARELY = 500_000
"""New objects between two searches for cycles: loading code and reading stitches make hundreds
of thousands of objects that stay, and next to no cycles."""

KEPT_BYTES = 1 << 28
"""Freed memory that the process keeps for its next arrays."""
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Numbers of glibc's options (mallopt(3))."""


def _keep_memory() -> None:
    """Keep the memory of freed arrays. glibc would give most of it back to the system and ask for
    it again a moment later, and each page so renewed costs some microseconds."""
    if sys.platform != "linux":
        return
    import ctypes

    with suppress(OSError, AttributeError):  # other C libraries have no such options
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(_TRIM_THRESHOLD, KEPT_BYTES)
        if not mallopt(_MMAP_THRESHOLD, KEPT_BYTES):
            # before 2.35 it takes no more than 32 MiB; left alone it would now stay at its least
            mallopt(_MMAP_THRESHOLD, 1 << 25)


def main() -> None:
    """Run the command line; expected failures become one line and their exit code."""
    gc.set_threshold(RARELY)
    _keep_memory()
    # numpy would start a thread a core for products of matrices; none here is large enough
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from restitch.cli.ahead import look_ahead
    from restitch.errors import RestitchError

    try:
        with look_ahead(sys.argv[1:]) as ahead:
            from restitch.cli.app import app

            app(obj=ahead)
    except RestitchError as error:
        print(f"restitch: {error}", file=sys.stderr)
        sys.exit(int(error.exit_code))
    except KeyboardInterrupt:
        print("restitch: stopped", file=sys.stderr)
        sys.exit(130)


def program() -> None:
    """Run the command line as a program of its own, which ends at once: to free every object of a
    process that is over takes longer than to write its report."""
    try:
        main()
    except SystemExit as end:
        if isinstance(end.code, int):
            _end(end.code)
        raise


def _end(code: int) -> None:
    """End the process, unless threads are still at work or what was printed finds no reader: then
    Python's own end waits and complains."""
    import atexit
    import threading

    if threading.active_count() > 1:
        return
    atexit._run_exitfuncs()
    with suppress(OSError):
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:  # closed before the process began
                stream.flush()
        os._exit(code)

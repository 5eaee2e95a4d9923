"""A reader in a process of its own, for files whose parsing may run away.

The child is started by path, not forked, so it works the same on every system and its memory
limit does not count what the caller has loaded.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

import numpy as np

from restitch.files.parse import Parsed, ParseFailed, RawThread

CHILD = Path(__file__).with_name("child.py")


class ReadLimits(NamedTuple):
    """What one file may use."""

    memory_bytes: int = 1 << 30
    """Address space of the reader process (the longest honest read takes 0.5 GiB)."""
    seconds: float = 10.0
    """Time for one file (the longest read of a damaged file took 3.8 s)."""


class ReaderProcess:
    """A warm reader process; a context manager. Started on first use and after a failure."""

    def __init__(self, limits: ReadLimits | None = None) -> None:
        self.limits = limits or ReadLimits()
        self._child: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the process."""
        child, self._child = self._child, None
        if child is None:
            return
        child.kill()
        child.wait()
        for pipe in (child.stdin, child.stdout):
            if pipe is not None:
                pipe.close()

    def parse(self, data: bytes, extension: str) -> Parsed:
        """Return what the reader finds in the bytes. Raises `ParseFailed`, never hangs."""
        child = self._started()
        late = threading.Event()
        timer = threading.Timer(self.limits.seconds, self._stop, (child, late))
        timer.daemon = True
        timer.start()
        try:
            return self._asked(child, data, extension)
        except (OSError, EOFError, ValueError):
            self.close()
            raise ParseFailed(self._reason(late)) from None
        except BaseException as error:
            # After an answer of ours the child is sound unless its memory ran out; after an
            # interrupt it is in the middle of something.
            if not isinstance(error, ParseFailed) or "memory" in str(error):
                self.close()
            raise
        finally:
            timer.cancel()

    def _started(self) -> subprocess.Popen[bytes]:
        if self._child is None or self._child.poll() is not None:
            self.close()
            limits = [str(self.limits.memory_bytes), str(self.limits.seconds)]
            self._child = subprocess.Popen(
                [sys.executable, "-I", str(CHILD), *limits],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        return self._child

    @staticmethod
    def _stop(child: subprocess.Popen[bytes], late: threading.Event) -> None:
        late.set()
        child.kill()

    def _reason(self, late: threading.Event) -> str:
        if late.is_set():
            return f"takes more than {self.limits.seconds:g} s to read"
        return "is damaged (the reader process ended without an answer)"

    def _asked(self, child: subprocess.Popen[bytes], data: bytes, extension: str) -> Parsed:
        assert child.stdin is not None
        assert child.stdout is not None
        request = {"extension": extension, "size": len(data)}
        child.stdin.write(json.dumps(request).encode() + b"\n")
        child.stdin.write(data)
        child.stdin.flush()
        line = child.stdout.readline()
        if not line.endswith(b"\n"):
            raise EOFError
        head = json.loads(line)
        if "failed" in head:
            raise ParseFailed(head["failed"])
        size = head["records"] * 24
        records = child.stdout.read(size)
        if len(records) != size:
            raise EOFError
        threads = [RawThread(*t) if t else None for t in head["threads"]]
        rows = np.frombuffer(records).reshape(-1, 3)
        return Parsed(rows, threads, head["name"], head["stopped"])

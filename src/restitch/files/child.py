"""The reader process: parses untrusted files under limits, one request after another.

Run as a script. A request is a line of JSON (``extension``, ``size``) and the bytes; the answer a
line of JSON (``failed``, or ``records``, ``threads``, ``name``, ``stopped``) and the records as
doubles. Nothing but numbers and text comes back, so a damaged file cannot reach the caller.
"""

from __future__ import annotations

import json
import math
import os
import signal
import sys
from array import array
from itertools import chain
from typing import Any, BinaryIO


def limit_memory(most_bytes: int) -> None:
    """Limit this process's address space, where the system can (POSIX)."""
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
    except (ImportError, ValueError, OSError):
        pass  # no such limit here: the time limit and the cap on file size remain


def end_after(seconds: float) -> None:
    """End this process after so many seconds, where the system can (POSIX); 0 takes it back.

    The caller has a limit of its own. This one is for a caller that is gone.
    """
    if hasattr(signal, "alarm"):
        signal.alarm(math.ceil(seconds))


def answer(data: bytes, extension: str, parse: Any, failed: type[Exception]) -> tuple[Any, bytes]:
    """Return (head, records) for one file."""
    try:
        found = parse(data, extension)
        records = array("d", chain.from_iterable(found.rows))
        if len(records) % 3:
            return {"failed": "a record is not made of two coordinates and a command"}, b""
    except failed as error:
        return {"failed": str(error)}, b""
    except MemoryError:
        return {"failed": "needs more memory than allowed to unpack"}, b""
    except (TypeError, ValueError, OverflowError):
        return {"failed": "a coordinate is not a number"}, b""
    threads = [t and [t.rgb, t.name, t.number, t.brand] for t in found.threads]
    head = {"records": len(records) // 3, "threads": threads}
    return {**head, "name": found.name, "stopped": found.stopped}, records.tobytes()


def serve(requests: BinaryIO, answers: BinaryIO, seconds: float) -> None:
    """Answer requests until the other side closes."""
    sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
    from parse import ParseFailed, parse  # type: ignore[import-not-found]

    while line := requests.readline():
        request = json.loads(line)
        data = requests.read(request["size"])
        end_after(2 * seconds)
        head, records = answer(data, request["extension"], parse, ParseFailed)
        end_after(0)
        answers.write(json.dumps(head).encode() + b"\n")
        answers.write(records)
        answers.flush()


if __name__ == "__main__":
    limit_memory(int(sys.argv[1]))
    serve(sys.stdin.buffer, sys.stdout.buffer, float(sys.argv[2]))

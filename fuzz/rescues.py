"""Damaged files that reading accepts, through the whole rescue: a result or one line, no crash.

    python fuzz/rescues.py [--accepted 600] [--seed 1] [--keep FOLDER]

Exit code 1 where a rescue crashed, or refused in more than one line.
"""

from __future__ import annotations

import argparse
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from itertools import chain
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from mutate import mutants
from seeds import seeds

from restitch.errors import RestitchError, UnreadableError
from restitch.fabrics import default_profile
from restitch.files import FORMATS, ReaderProcess, decode
from restitch.model import Stream
from restitch.pipeline import rescue

TEXT = ("csv", "json")


def accepted(seed: int, count: int, reader: ReaderProcess) -> Iterator[tuple[str, bytes, Stream]]:
    """Yield so many mutants that can be read, the formats in turn."""
    files = seeds()
    formats = (*FORMATS, "hus", "sew", "shv")
    others = [data for fmt in formats for data in files[fmt]]
    made = {
        fmt: mutants(files[fmt], others, 2 * count, f"{seed}-rescue-{fmt}", fmt in TEXT)
        for fmt in formats
    }
    turns = zip(
        *([(fmt, data) for _, _, data in found] for fmt, found in made.items()), strict=True
    )
    for fmt, data in chain.from_iterable(turns):
        try:
            stream = decode(data, fmt, f"mutant.{fmt}", reader=reader)
        except UnreadableError:
            continue
        yield fmt, data, stream
        count -= 1
        if not count:
            return


def fate(stream: Stream, fmt: str, fabric: str) -> str:
    """Rescue one stream; return what became of it."""
    try:
        found = rescue(stream, default_profile(fabric), target=fmt if fmt in FORMATS else "dst")
    except RestitchError as error:
        return "crash" if "\n" in str(error) else "refused"
    except Exception:  # what the run looks for
        traceback.print_exc(limit=-4)
        return "crash"
    return "already sound" if found.sound else "rescued"


def main() -> int:
    """Run as the command line asks."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--accepted", type=int, default=600, help="readable mutants to rescue")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for mutants that crash a rescue")
    options = parser.parse_args()
    fates: Counter[str] = Counter()
    slowest = 0.0
    with ReaderProcess() as reader:
        for number, (fmt, data, stream) in enumerate(
            accepted(options.seed, options.accepted, reader)
        ):
            begun = time.process_time()
            found = fate(stream, fmt, ("jersey", "twill", "towel")[number % 3])
            slowest = max(slowest, time.process_time() - begun)
            fates[found] += 1
            if found == "crash" and options.keep:
                options.keep.mkdir(parents=True, exist_ok=True)
                (options.keep / f"rescue-{number}.{fmt}").write_bytes(data)
    counts = ", ".join(f"{count:,} {word}" for word, count in sorted(fates.items()))
    print(f"{sum(fates.values()):,} readable mutants: {counts}; slowest {slowest:.1f} s")
    return int(fates["crash"] > 0)


if __name__ == "__main__":
    sys.exit(main())

"""Fuzz run of the file layer: damaged files of every format must be refused or read soundly.

    python fuzz/run.py [--mutants 2000] [--formats pes,dst] [--seed 1] [--table docs/fuzz.md]

Exit code 1 where a crash, a hang or a wrong output was found; each is printed and kept in
``--keep FOLDER``.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from judge import Fate, Verdict, judge
from mutate import mutants
from seeds import seeds

from restitch.files import FORMATS, ReaderProcess, decode

MAIN = (*FORMATS, "hus", "sew", "shv")
"""Formats that get all mutants; the others, which nobody here can write, get a tenth."""

FAULTS = (Fate.CRASH, Fate.HANG, Fate.WRONG)


@dataclass
class Tally:
    """What became of the mutants of one format."""

    fmt: str
    fates: Counter[Fate] = field(default_factory=Counter)
    slowest_s: float = 0.0

    def add(self, verdict: Verdict) -> None:
        """Count one mutant."""
        self.fates[verdict.fate] += 1
        self.slowest_s = max(self.slowest_s, verdict.seconds)


def run(
    fmt: str,
    files: Sequence[bytes],
    others: Sequence[bytes],
    options: argparse.Namespace,
    reader: ReaderProcess,
) -> Tally:
    """Judge the mutants of one format."""
    count = options.mutants if fmt in MAIN else max(1, options.mutants // 10)
    tally = Tally(fmt)
    whole = {data: _stitches(data, fmt) for data in files}
    made = mutants(files, others, count, f"{options.seed}-{fmt}", fmt in ("csv", "json"))
    for number, (kind, sound, data) in enumerate(made):
        verdict = judge(kind, sound, data, fmt, reader, whole[sound])
        tally.add(verdict)
        if verdict.fate in FAULTS:
            print(f"{fmt} {number} ({kind}): {verdict.fate}: {verdict.why}", flush=True)
            if options.keep:
                options.keep.mkdir(parents=True, exist_ok=True)
                (options.keep / f"{fmt}-{number}-{kind}.{fmt}").write_bytes(data)
    return tally


def _stitches(data: bytes, fmt: str) -> int:
    return len(decode(data, fmt, "seed").stitch_index) if fmt in MAIN else 0


def table(tallies: Sequence[Tally], seconds: float, options: argparse.Namespace) -> str:
    """Return the results as a page of the docs."""
    lines = [
        "# Fuzz run of the file layer",
        "",
        "Damaged copies of small files of our own: cut, bits turned, stretches emptied or random,",
        "bytes doubled or dropped, numbers set to extremes, ends of other formats put in their",
        "place, and in text files numbers and command words exchanged. Every file must be refused",
        "in one line or read; what is read must fit a hoop, match its threads and, written and",
        "read again, give the same needle points and the same bytes. A cut file of a format that",
        "marks its end must never be read as whole. Formats whose parsing is bounded by their",
        "bytes are read in the process itself, all others in the reader process (1 GiB, 10 s).",
        "",
        f"`python fuzz/run.py --mutants {options.mutants} --seed {options.seed}` "
        f"({seconds / 60:.0f} minutes at low priority, {_peak()}):",
        "",
        "| format | mutants | refused | read with a warning | read | crashes | hangs "
        "| wrong outputs accepted | slowest, s |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    others = Tally("others, together")
    for tally in tallies:
        if tally.fmt in MAIN:
            lines.append(_row(tally))
        else:
            others.fates += tally.fates
            others.slowest_s = max(others.slowest_s, tally.slowest_s)
    lines += [_row(others)] if others.fates else []
    everything = Tally(
        "**all**", sum((t.fates for t in tallies), Counter()), max(t.slowest_s for t in tallies)
    )
    return "\n".join([*lines, _row(everything), ""])


def _row(tally: Tally) -> str:
    counts = [tally.fates[f] for f in Fate]
    cells = [f"{sum(counts):,}", *(f"{c:,}" for c in counts), f"{tally.slowest_s:.2f}"]
    return f"| {tally.fmt} | " + " | ".join(cells) + " |"


def _peak() -> str:
    try:
        import resource
    except ImportError:
        return "memory not measured"
    sizes = (
        resource.getrusage(w).ru_maxrss for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    here, child = (size // 1024 for size in sizes)
    return f"peak memory {here} MiB here, {child} MiB in the reader process"


def main() -> int:
    """Run as the command line asks."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mutants", type=int, default=2000, help="a main format gets this many")
    parser.add_argument("--formats", default="", help="comma-separated; all when left out")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--table", type=Path, help="write the result table here")
    parser.add_argument("--keep", type=Path, help="folder for mutants that show a fault")
    options = parser.parse_args()
    files = seeds()
    chosen = [f for f in options.formats.split(",") if f] or list(files)
    others = [data for name in MAIN for data in files[name]]
    start = time.monotonic()
    tallies = []
    with ReaderProcess() as reader:
        for fmt in chosen:
            tallies.append(run(fmt, files[fmt], others, options, reader))
            print(_row(tallies[-1]), flush=True)
    if options.table:
        options.table.write_text(table(tallies, time.monotonic() - start, options), "utf-8")
    return int(any(t.fates[f] for t in tallies for f in FAULTS))


if __name__ == "__main__":
    sys.exit(main())

"""Whole commands measured against what pyembroidery alone needs to read and write the file.

    python benchmarks/speed.py [--sizes 20000 200000] [--format pes] [--repeats 5] [--short]

Every figure is a whole process of its own, the median of the repeats, given as ratio to a bare
read and write of the same file in the same run: a loaded machine slows both. The bundled badge is
sewn over and over until the size is reached. Each run's result is looked at before its time counts,
and a first run that is not timed leaves the byte code that every later one finds.
``--short`` takes one small size and fails where a ratio is over 1.5 times `RECORDED`.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Sequence
from pathlib import Path

from restitch.files.read import MOST_MM

BADGE = Path(__file__).parents[1] / "fixtures" / "rope-badge.pes"
BARE = "import sys, pyembroidery as p; p.write(p.read(sys.argv[1]), sys.argv[2])"
RECORDED = {"fix": 5.0, "fix --dry-run": 5.0, "check": 2.8, "inspect": 2.0}
"""Ratios of the short form in a fresh environment with every extra, both cores shared;
docs/speed.md has those of a quieter one."""
TOO_MUCH = 1.5
LARGEST = 10 * (MOST_MM - 10)
"""0.1 mm: what is larger is taken for damage."""


def design(stitches: int, extension: str, folder: Path) -> Path:
    """Write the bundled badge, repeated on a grid until it has about so many stitches.

    Colour by colour over all badges, as a sheet of patches is sewn. They lie side by side while
    they fit the largest design that is read, else they overlap.
    """
    import numpy as np
    import pyembroidery

    badge = pyembroidery.read(str(BADGE))
    assert badge is not None
    sewn = sum(s[2] & 0xFF == pyembroidery.STITCH for s in badge.stitches)
    copies = max(1, round(stitches / sewn))
    low, _, high, _ = badge.bounds()
    across = int(np.ceil(np.sqrt(copies)))
    pitch = min(high - low, (LARGEST - (high - low)) / max(across - 1, 1))
    places = [((k % across) * pitch, (k // across) * pitch) for k in range(copies)]
    whole = pyembroidery.EmbPattern()
    for number, (block, thread) in enumerate(badge.get_as_colorblocks()):
        if number:
            whole.color_change()
        whole.add_thread(thread)
        for dx, dy in places:
            for x, y, command in block:
                if command & 0xFF in (pyembroidery.STITCH, pyembroidery.JUMP, pyembroidery.TRIM):
                    whole.add_stitch_absolute(command, x + dx, y + dy)
            whole.trim()
    whole.end()
    path = folder / f"design{stitches}.{extension}"
    pyembroidery.write(whole, str(path))
    return path


LAUNCH = """
import os, subprocess, sys, time
start = time.perf_counter()
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, used = os.wait4(process.pid, 0)
print(time.perf_counter() - start, os.waitstatus_to_exitcode(status), used.ru_maxrss)
"""
"""A small process to start from: a command's peak memory counts that of its parent at its start."""


def measured(commands: Sequence[Sequence[str]], repeats: int) -> list[tuple[float, int]]:
    """(median seconds, most memory in KiB) of each command, run in turns."""
    times: list[list[float]] = [[] for _ in commands]
    peaks = [0] * len(commands)
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    for _ in range(repeats + 1):
        for k, command in enumerate(commands):
            launched = [sys.executable, "-I", "-S", "-c", LAUNCH, *command]
            done = subprocess.run(launched, capture_output=True, text=True, env=environment)
            seconds, status, peak = done.stdout.split()
            if int(status) not in (0, 1):
                raise SystemExit(f"{' '.join(command)}: {done.stderr}")
            times[k].append(float(seconds))
            peaks[k] = max(peaks[k], int(peak))
    return [(statistics.median(took[1:]), peak) for took, peak in zip(times, peaks, strict=True)]


def line(stitches: int, extension: str, repeats: int, folder: Path) -> dict[str, float]:
    """Measure one size, print its row and return the ratios."""
    source = design(stitches, extension, folder)
    python = sys.executable
    restitch = str(Path(sysconfig.get_path("scripts")) / "restitch")
    target, preview = folder / f"out.{extension}", folder / f"none.{extension}"
    wanted = ["--fabric", "knit"]
    commands = {
        "bare": [python, "-c", BARE, str(source), str(folder / f"bare.{extension}")],
        "fix": [restitch, "fix", str(source), str(target), "--replace", *wanted],
        "fix --dry-run": [restitch, "fix", str(source), str(preview), "--dry-run", *wanted],
        "check": [restitch, "check", str(source), *wanted],
        "inspect": [restitch, "inspect", str(source), "--json"],
    }
    found = dict(zip(commands, measured(list(commands.values()), repeats), strict=True))
    _looked_at(source, target, preview, restitch)
    bare, held = found.pop("bare")
    ratios = {name: seconds / bare for name, (seconds, _) in found.items()}
    size = f"{stitches:,} {extension}"
    cells = "".join(f" {ratio:.1f} |" for ratio in ratios.values())
    print(f"| {size} | {bare:.2f} s |{cells} {found['fix'][1] / held:.1f} |", flush=True)
    return ratios


def _looked_at(source: Path, target: Path, preview: Path, restitch: str) -> None:
    """What was timed must have done its work."""
    assert target.stat().st_size > 0
    assert not preview.exists()
    again = [restitch, "fix", str(target), str(preview), "--dry-run", "--json", "--fabric", "knit"]
    told = json.loads(subprocess.run(again, capture_output=True, check=True).stdout)
    assert told["outcome"] == "already sound", told["outcome"]
    assert source.read_bytes() != target.read_bytes()


def start_up(repeats: int) -> None:
    """Print what the start costs over a bare interpreter's."""
    restitch = str(Path(sysconfig.get_path("scripts")) / "restitch")
    commands = [[sys.executable, "-c", "pass"], [restitch, "--version"], [restitch, "--help"]]
    bare, version, told = (seconds for seconds, _ in measured(commands, repeats))
    print(
        f"\nstart: interpreter {bare:.3f} s, --version {version - bare:.3f} s more, "
        f"--help {told - bare:.3f} s more"
    )


def main() -> None:
    """Measure, print the table, and fail in the short form where a ratio has grown."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sizes", type=int, nargs="+", default=[20_000, 200_000])
    parser.add_argument("--format", default="pes")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--short", action="store_true")
    options = parser.parse_args()
    sizes, repeats = ([20_000], 3) if options.short else (options.sizes, options.repeats)
    print("| design | bare | fix | fix --dry-run | check | inspect | memory of fix |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as room:
        found = [line(size, options.format, repeats, Path(room)) for size in sizes]
    start_up(repeats)
    grown = [n for n, most in RECORDED.items() if found[0][n] > TOO_MUCH * most]
    if options.short and grown:
        raise SystemExit(f"slower than recorded by more than half: {', '.join(grown)}")


if __name__ == "__main__":
    main()

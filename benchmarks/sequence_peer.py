"""Lines of one colour, either end first, put in order by us and by a general plotter tool.

    python benchmarks/sequence_peer.py --peer VENV/bin/vpype [--sizes 200 500] [--kicks N]

The peer is vpype (https://vpype.readthedocs.io), its ``linesort --two-opt``: the same lines, read
from an SVG file, sorted and written again. Travel is measured here for both, from the end of each
line to the begin of the next, the way from the origin and back left out. Time is CPU, twice: of the
search alone (for the peer, its whole process less one that only reads and writes), and of the whole
process that reads a file, puts it in order and writes another.
"""

from __future__ import annotations

import argparse
import json
import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from restitch.sequence.solver import Instance, Weights, solve


def lines_of(count: int, seed: int) -> np.ndarray:
    """(n, 2, 2) begins and ends, mm: strokes of 2 to 12 mm strewn over a field of their number."""
    rng = np.random.default_rng(seed)
    side = 8.0 * np.sqrt(count)
    begin = rng.uniform(0, side, (count, 2))
    angle, length = rng.uniform(0, 2 * np.pi, count), rng.uniform(2, 12, count)
    way = length[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.round(np.stack([begin, begin + way], axis=1), 2)


def travel_mm(lines: np.ndarray) -> float:
    """Way from line to line."""
    return float(np.hypot(*(lines[1:, 0] - lines[:-1, 1]).T).sum())


INSTANCE = Path(__file__).with_name("sequence_instance.py")


def ours(lines: np.ndarray, kicks: int | None, folder: Path) -> tuple[np.ndarray, float, float]:
    """The lines in our order, and CPU seconds: of the search and of a whole process."""
    options = tuple(np.array([[*a, *b], [*b, *a]]) for a, b in lines)
    # travel alone counts, as for the peer
    instance = Instance((0,) * len(lines), options, weights=Weights(trim=0.0))
    start = time.process_time()
    found = solve(instance, kicks=kicks)
    seconds = time.process_time() - start
    sewn = [
        lines[x][::-1] if k else lines[x] for x, k in zip(found.order, found.option, strict=True)
    ]
    source, target = folder / "lines.json", folder / "order.json"
    objects = [{"id": at, "colour": 0, "options": rows.tolist()} for at, rows in enumerate(options)]
    weights = {"colour": 300, "trim": 0, "travel": 1}
    source.write_text(
        json.dumps({"objects": objects, "weights": weights, "trim_over_mm": 3.0, "precedence": []})
    )
    effort = [] if kicks is None else ["--kicks", str(kicks)]
    whole = cpu_of([sys.executable, str(INSTANCE), str(source), str(target), *effort])
    return np.array(sewn), seconds, whole


def peers(lines: np.ndarray, peer: str, folder: Path) -> tuple[np.ndarray, float, float]:
    """The lines in the peer's order, and CPU seconds: of the search and of a whole process."""
    source, target = folder / "lines.svg", folder / "sorted.svg"
    size = float(lines.max()) + 20
    shapes = "".join(
        f'<line x1="{a:.2f}" y1="{b:.2f}" x2="{c:.2f}" y2="{d:.2f}" stroke="black"/>'
        for (a, b), (c, d) in (lines + 15).tolist()
    )
    source.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}px" height="{size}px" '
        f'viewBox="0 0 {size} {size}">{shapes}</svg>'
    )
    plain = [peer, "read", "--no-crop", str(source), "write", str(target)]
    idle = cpu_of(plain)
    busy = cpu_of([*plain[:4], "linesort", "--two-opt", *plain[4:]])
    found = [
        [[float(line[f"{axis}{end}"]) for axis in "xy"] for end in "12"]
        for line in (dict(ATTRIBUTE.findall(text)) for text in LINE.findall(target.read_text()))
    ]
    return np.array(found) - 15, busy - idle, busy


LINE = re.compile(r"<line ([^>]*)>")
ATTRIBUTE = re.compile(r'(\w+)="([^"]*)"')


def cpu_of(command: list[str]) -> float:
    """CPU seconds of a process, the least of five runs."""
    spent = []
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(spent)


def same_lines(a: np.ndarray, b: np.ndarray) -> bool:
    """Whether both are the same lines, in any order and either way round."""

    def keys(lines: np.ndarray) -> list[tuple[tuple[float, ...], ...]]:
        return sorted(tuple(sorted(map(tuple, np.round(line, 2).tolist()))) for line in lines)

    return len(a) == len(b) and keys(a) == keys(b)


def main() -> None:
    """Print one row a size."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--peer", required=True)
    parser.add_argument("--sizes", type=int, nargs="+", default=[200, 500, 1000, 2000])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kicks", type=int, help="rounds of our search")
    options = parser.parse_args()
    print("| lines | travel, mm | peer's, mm | ratio | CPU, s | peer's, s | whole, s | peer's, s |")
    print("|---|---|---|---|---|---|---|---|")
    for size in options.sizes:
        lines = lines_of(size, options.seed)
        with tempfile.TemporaryDirectory() as folder:
            theirs, their_s, their_whole_s = peers(lines, options.peer, Path(folder))
            own, own_s, own_whole_s = ours(lines, options.kicks, Path(folder))
        assert same_lines(own, lines), "we lost a line"
        assert same_lines(theirs, lines), "the peer's lines are not ours"
        own_mm, their_mm = travel_mm(own), travel_mm(theirs)
        print(
            f"| {size:,} | {own_mm:,.0f} | {their_mm:,.0f} | {own_mm / their_mm:.3f} "
            f"| {own_s:.2f} | {their_s:.2f} | {own_whole_s:.2f} | {their_whole_s:.2f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()

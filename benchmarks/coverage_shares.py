"""What the tests run: shares of lines and of branches, by room, from coverage's JSON.

    pytest -n 2 --cov --cov-report=json:coverage.json
    python benchmarks/coverage_shares.py coverage.json

Exit 1 where fewer lines than `LEAST_LINES` are run.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path

LEAST_LINES = 0.90


def main() -> None:
    """Print the table and judge it."""
    files = json.loads(Path(sys.argv[1]).read_text())["files"]
    rooms: dict[str, Counter[str]] = {}
    for name, found in files.items():
        inside = Path(name.rpartition("src/restitch/")[2])
        room = inside.parts[0] if len(inside.parts) > 1 else "the top"
        for key in (room, "all"):
            rooms.setdefault(key, Counter()).update(
                {k: v for k, v in found["summary"].items() if k.startswith(("num_", "covered_"))}
            )
    print("| room | lines | run | branches | run |\n|---|---|---|---|---|")
    for room, sums in sorted(rooms.items(), key=lambda item: (item[0] == "all", item[0])):
        print(
            f"| {room} | {sums['num_statements']:,} | {_share(sums, 'lines', 'statements'):.1%} "
            f"| {sums['num_branches']:,} | {_share(sums, 'branches', 'branches'):.1%} |"
        )
    lines = _share(rooms["all"], "lines", "statements")
    if lines < LEAST_LINES:
        raise SystemExit(f"only {lines:.1%} of the lines are run, {LEAST_LINES:.0%} are wanted")


def _share(sums: Counter[str], covered: str, of: str) -> float:
    return sums[f"covered_{covered}"] / max(sums[f"num_{of}"], 1)


if __name__ == "__main__":
    main()

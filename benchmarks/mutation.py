"""Do the tests notice when the code is wrong? One small mistake at a time, and what survives.

    pip install 'cosmic-ray>=8.7,<9'
    python benchmarks/mutation.py fix sequence solver [--each 8] [--seed 1] [--keep FOLDER]

Cosmic Ray makes the mistakes, in a copy of the checkout, and runs the room's tests on each. Of
every module ``--each`` places are drawn, and one mistake at each. ``--keep`` leaves Cosmic Ray's
sessions (``ROOM.sqlite``, for ``cr-report`` and ``cr-html``); an interrupted run goes on there.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from cosmic_ray.commands import execute, init
from cosmic_ray.config import ConfigDict
from cosmic_ray.work_db import WorkDB, use_db
from cosmic_ray.work_item import MutationSpec, WorkerOutcome, WorkItem, WorkResult

ROOT = Path(__file__).parents[1]
SOURCE = Path("src") / "restitch"

UNLIKELY = re.compile(
    r"core/ReplaceBinaryOperator_(?!(Add|Sub|Mul|Div|FloorDiv|Mod|Pow)_(Add|Sub|Mul|Div)$"
    r"|BitAnd_BitOr|BitOr_BitAnd|LShift_RShift|RShift_LShift)"
    r"|core/ReplaceComparisonOperator_(?!Is_IsNot|IsNot_Is)(Is|\w+_Is)"
)
"""What nobody writes by mistake: floats shifted by bits, ``x is not 3``, ``kind >= Kind.FILL``."""


@dataclass(frozen=True)
class Room:
    """Modules and the tests that must notice."""

    modules: str
    """Pattern below the package."""
    tests: str
    seconds: int
    """A mutant that takes longer runs for ever: that is noticed too."""

    def config(self) -> ConfigDict:
        """What Cosmic Ray runs on each mutant; plugins that cost time and tell nothing left out."""
        pytest = f"{sys.executable} -m pytest -x -q -p no:cacheprovider -p no:xdist -p no:cov"
        return ConfigDict(
            {
                "test-command": f"{pytest} {self.tests}",
                "timeout": self.seconds,
                "distributor": ConfigDict(name="local"),
            }
        )


ROOMS = {
    "fix": Room("fix/*.py", "tests/fix", 60),
    "sequence": Room("sequence/*.py", "tests/sequence --ignore tests/sequence/solver", 120),
    "solver": Room("sequence/solver/*.py", "tests/sequence/solver", 150),
}


def prepare(db: WorkDB, modules: list[Path], each: int, draw: random.Random) -> None:
    """Fill a session with all mutants and mark those not drawn as skipped."""
    init(modules, db, {})
    places: dict[Path, dict[tuple[int, int], list[WorkItem]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for item in sorted(db.work_items, key=_sorted_by):
        (made,) = item.mutations
        if not UNLIKELY.match(made.operator_name):
            places[made.module_path][made.start_pos].append(item)
    drawn = set()
    for path in modules:
        lines = unseen(path)
        seen = [at for at in places[path] if at not in lines]
        for at in draw.sample(seen, min(each, len(seen))):
            drawn.add(draw.choice(places[path][at]).job_id)
    skipped = [item.job_id for item in db.work_items if item.job_id not in drawn]
    db.set_multiple_results(skipped, WorkResult(WorkerOutcome.SKIPPED))


def _sorted_by(item: WorkItem) -> tuple[str, tuple[int, int], str, int]:
    (made,) = item.mutations
    return str(made.module_path), made.start_pos, made.operator_name, made.occurrence


def unseen(path: Path) -> set[tuple[int, int]]:
    """Places (line, column) that only a type checker or a reader sees, or that forbid what nobody
    does: annotations, messages, frozen and slotted classes, the strictness of a pairing."""
    nodes = list(ast.walk(ast.parse(path.read_text())))
    found: set[tuple[int, int]] = set()
    for part in (p for node in nodes for p in _unseen(node)):
        assert part.end_lineno is not None
        assert part.end_col_offset is not None
        for line in range(part.lineno, part.end_lineno + 1):
            first = part.col_offset if line == part.lineno else 0
            last = part.end_col_offset if line == part.end_lineno else 200
            found |= {(line, column) for column in range(first, last)}
    return found


def _unseen(node: ast.AST) -> Iterator[ast.expr | ast.stmt]:
    parts = (getattr(node, "annotation", None), getattr(node, "returns", None))
    yield from (part for part in parts if part is not None)
    if isinstance(node, ast.JoinedStr):
        yield node
    if isinstance(node, ast.ClassDef):
        yield from node.decorator_list
    if isinstance(node, ast.keyword) and node.arg == "strict":
        yield node.value
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        yield node


def told(db: WorkDB) -> None:
    """Print a row for each module and the difference that each survivor makes."""
    tried: Counter[Path] = Counter()
    survived: Counter[Path] = Counter()
    every = Counter(item.mutations[0].module_path for item in db.work_items)
    left: list[tuple[MutationSpec, WorkResult]] = []
    for item, result in db.completed_work_items:
        (made,) = item.mutations
        if result.worker_outcome is WorkerOutcome.SKIPPED:
            continue
        tried[made.module_path] += 1
        if not result.is_killed:
            survived[made.module_path] += 1
            left.append((made, result))
    print("| module | possible | tried | noticed |\n|---|---|---|---|")
    for path in sorted(tried):
        noticed = tried[path] - survived[path]
        print(f"| {path.relative_to(SOURCE)} | {every[path]} | {tried[path]} | {noticed} |")
    print(f"| all | {every.total()} | {tried.total()} | {tried.total() - survived.total()} |")
    for made, result in sorted(left, key=lambda m: (m[0].module_path, m[0].start_pos)):
        print(f"\n{made.module_path}:{made.start_pos[0]} {made.operator_name}")
        lines = (result.diff or "").splitlines()
        print("\n".join(x for x in lines if x[:1] in "+-" and x[:3] not in ("---", "+++")))


def main() -> None:
    """Try the rooms one after another."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("rooms", nargs="+", choices=ROOMS)
    parser.add_argument("--each", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        kept = (options.keep or Path(temporary)).resolve()
        kept.mkdir(exist_ok=True)
        checkout = Path(temporary) / "checkout"
        leave = shutil.ignore_patterns(".git", ".venv", "__pycache__", "site", "*.sqlite")
        shutil.copytree(ROOT, checkout, ignore=leave)
        os.chdir(checkout)
        # the copy, not what is installed; property tests try the same examples on every mutant
        os.environ.update(PYTHONPATH="src", CI="1")
        for name in options.rooms:
            room = ROOMS[name]
            if subprocess.run(room.config().test_command.split()).returncode:
                raise SystemExit("the tests do not pass as the code stands: nothing to be told")
            fresh = not (kept / f"{name}.sqlite").exists()
            with use_db(kept / f"{name}.sqlite") as db:
                if fresh:
                    modules = sorted(SOURCE.glob(room.modules))
                    prepare(db, modules, options.each, random.Random(options.seed))
                execute(db, room.config())
                told(db)


if __name__ == "__main__":
    main()

"""Do the tests notice when the code is wrong? One small mistake at a time, and what survives.

    python benchmarks/mutation.py src/restitch/fix --tests tests/fix tests/test_rescue.py \
        [--each 6] [--seed 1]

A mutant has one operator, comparison, number or truth value changed. Of each module ``--each`` are
drawn. They are made in a copy of the checkout; each is tried against the tests until one fails.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
SECONDS = 240
"""A mutant that takes longer runs for ever: that is noticed too."""

OPPOSITE: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


@dataclass(frozen=True)
class Mutant:
    """One changed module."""

    path: Path
    line: int
    was: str
    now: str
    source: str


def mutants(path: Path) -> Iterator[Mutant]:
    """Every mutant of a module."""
    tree = ast.parse(path.read_text())
    skipped = {id(n) for node in ast.walk(tree) for n in _unseen(node)}
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in skipped:
            continue
        for change in _changes(node):
            other = copy.deepcopy(tree)
            same = next(n for k, n in enumerate(ast.walk(other)) if k == number)
            was = ast.unparse(same)
            change(same)
            now = ast.unparse(same)
            yield Mutant(path, node.lineno, was, now, ast.unparse(other))


def _unseen(node: ast.AST) -> Iterator[ast.AST]:
    """Annotations, and what only a type checker or a message sees."""
    for part in (getattr(node, "annotation", None), getattr(node, "returns", None)):
        if part is not None:
            yield from ast.walk(part)
    if isinstance(node, ast.JoinedStr | ast.Assert):
        yield from ast.walk(node)
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        yield from ast.walk(node)


def _changes(node: ast.AST) -> Iterator:
    if isinstance(node, ast.Compare) and type(node.ops[0]) in OPPOSITE:
        yield lambda n: n.ops.__setitem__(0, OPPOSITE[type(n.ops[0])]())
    if isinstance(node, ast.BinOp | ast.AugAssign | ast.BoolOp) and type(node.op) in OPPOSITE:
        yield lambda n: setattr(n, "op", OPPOSITE[type(n.op)]())
    if isinstance(node, ast.If | ast.IfExp | ast.While):
        yield lambda n: setattr(n, "test", ast.UnaryOp(ast.Not(), n.test))
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield lambda n: setattr(n, "value", not n.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        yield lambda n: setattr(n, "value", n.value + 1)


def survives(mutant: Mutant, checkout: Path, tests: list[str]) -> bool:
    """Whether no test fails with the mutant in place."""
    target = checkout / mutant.path.relative_to(ROOT)
    sound = target.read_text()
    target.write_text(mutant.source)
    try:
        return passes(checkout, tests)
    finally:
        target.write_text(sound)


def passes(checkout: Path, tests: list[str]) -> bool:
    """Whether all tests pass in time; code that cannot be loaded any more passes none."""
    run = subprocess.Popen(
        [sys.executable, "-m", "pytest", "-n", "2", "-x", "-q", "-p", "no:cacheprovider", *tests],
        cwd=checkout,
        env={**os.environ, "PYTHONPATH": str(checkout / "src")},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return run.wait(timeout=SECONDS) == 0
    except subprocess.TimeoutExpired:
        # the workers too: they would go on for ever
        os.killpg(run.pid, signal.SIGKILL)
        run.wait()
        return False


def main() -> None:
    """Print a row for each module and every survivor."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("rooms", nargs="+", type=Path)
    parser.add_argument("--tests", nargs="+", required=True)
    parser.add_argument("--each", type=int, default=6)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    draw = random.Random(options.seed)
    with tempfile.TemporaryDirectory() as room:
        checkout = Path(room) / "checkout"
        leave = shutil.ignore_patterns(".git", ".venv", "__pycache__", "site")
        shutil.copytree(ROOT, checkout, ignore=leave)
        if not passes(checkout, options.tests):
            raise SystemExit("the tests do not pass as the code stands: nothing to be told by them")
        print("| module | mutants | tried | noticed |\n|---|---|---|---|", flush=True)
        left: list[Mutant] = []
        for path in sorted(p for r in options.rooms for p in (ROOT / r).rglob("*.py")):
            every = list(mutants(path))
            tried = draw.sample(every, min(options.each, len(every)))
            survivors = [m for m in tried if survives(m, checkout, options.tests)]
            left += survivors
            for mutant in survivors:
                print(_row(mutant), file=sys.stderr, flush=True)
            name = path.relative_to(ROOT / "src" / "restitch")
            noticed = len(tried) - len(survivors)
            if tried:
                print(f"| {name} | {len(every)} | {len(tried)} | {noticed} |", flush=True)
        print("\n| survivor | was | now |\n|---|---|---|")
        print("\n".join(map(_row, left)))


def _row(mutant: Mutant) -> str:
    where = f"{mutant.path.relative_to(ROOT / 'src' / 'restitch')}:{mutant.line}"
    return f"| {where} | `{_brief(mutant.was)}` | `{_brief(mutant.now)}` |"


def _brief(text: str) -> str:
    return " ".join(text.split())[:90]


if __name__ == "__main__":
    main()

"""The import contract: who may know whom, no circles, small rooms.

Read from the source text, so that imports inside functions count too; imports for the type
checker alone do not. A new room gets a line in `MAY_KNOW`; a new arrow is a decision, made here.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import networkx as nx
import pytest

ROOT = Path(__file__).parent.parent / "src" / "restitch"

NOUNS = {"errors", "model", "extensions"}
"""Any room may know these: the words all share, and the way other packages add to the house."""

SURVEYED = {"fabrics", "geometry", "look", "measure", "plan", "stitch"}
"""What is known of a design before anything is changed."""

MAY_KNOW: dict[str, set[str]] = {
    # nouns and instruments
    "errors": set(),
    "model": set(),
    "extensions": set(),
    "aside": set(),
    "plan": set(),
    "geometry": set(),
    "look": set(),
    "fabrics": set(),
    "measure": {"fabrics"},
    "files": set(),
    "infer": {"geometry"},
    "stitch": {"fabrics", "geometry"},
    # the way through the house
    "check": SURVEYED,
    "fix": SURVEYED | {"check"},
    "sequence": SURVEYED | {"check", "fix", "files"},
    "restored": {"check", "rounds", "geometry", "look", "plan"},
    "rounds": {"aside", "fabrics", "files", "fix", "infer", "look", "plan", "sequence"},
    "pipeline": {"aside", "fabrics", "files", "infer", "look", "plan", "rounds"},
    "reading": {"check", "fabrics", "files", "infer", "rounds"},
    "rescue_file": {
        *("aside", "fabrics", "files", "infer", "measure"),
        *("pipeline", "reading", "report.model", "restored"),
    },
    # telling and showing
    "report.model": {"fabrics"},
    "report": {
        *("check", "fabrics", "files", "infer", "look", "plan"),
        *("report.model", "rescue_file", "rounds"),
    },
    "draw": {"fabrics", "files", "infer", "look", "plan"},
    # doors
    "folder": {"files", "geometry", "report", "rescue_file"},
    "api": {"check", "fabrics", "files", "infer", "pipeline", "rescue_file"},
    "cli": {
        *("aside", "check", "draw", "fabrics", "files", "folder", "infer"),
        *("reading", "report", "report.model", "rescue_file"),
    },
    "__main__": {"cli"},
}
"""Rooms by what they may import; the package itself is known to all for its version."""

LONGEST_MODULE = 400
LONGEST_FUNCTION = 50
"""Lines without the docstring. Our choice: what one screen shows."""

MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for path in sorted(ROOT.rglob("*.py"))
    if path != ROOT / "__init__.py"
}


def room_of(module: str) -> str:
    """The room a module lies in: the longest listed name that it begins with."""
    listed = [r for r in MAY_KNOW if module == r or module.startswith(f"{r}.")]
    return max(listed, key=len, default=module.split(".")[0])


def run_time_nodes(node: ast.AST) -> Iterator[ast.AST]:
    """All nodes below, but for what only the type checker reads."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
            continue
        yield child
        yield from run_time_nodes(child)


def imported(path: Path) -> set[str]:
    """Modules of the package that a module imports at run time, without ``restitch.``."""
    found = set[str]()
    for node in run_time_nodes(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written in full"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        for name in names:
            while name.startswith("restitch.") and name.removeprefix("restitch.") not in MODULES:
                name = name.rpartition(".")[0]
            if name.startswith("restitch."):
                found.add(name.removeprefix("restitch."))
    return found


IMPORTS = {module: imported(path) for module, path in MODULES.items()}


@pytest.mark.parametrize("room", sorted({room_of(m) for m in MODULES}))
def test_a_room_knows_only_whom_it_may(room: str) -> None:
    assert room in MAY_KNOW, f"{room} is a new room: list whom it may know"
    known = {room_of(to) for m, names in IMPORTS.items() if room_of(m) == room for to in names}
    assert known - {room} - NOUNS <= MAY_KNOW[room]


def test_the_contract_names_no_arrow_that_is_gone() -> None:
    for room, allowed in MAY_KNOW.items():
        known = {room_of(to) for m, names in IMPORTS.items() if room_of(m) == room for to in names}
        assert allowed - SURVEYED <= known, f"{room} no longer knows {allowed - SURVEYED - known}"


@pytest.mark.parametrize("unit", ["rooms", "modules"])
def test_no_import_circles(unit: str) -> None:
    name = room_of if unit == "rooms" else str
    arrows = {(name(m), name(to)) for m, names in IMPORTS.items() for to in names}
    graph = nx.DiGraph([(a, b) for a, b in arrows if a != b])
    assert [sorted(c) for c in nx.strongly_connected_components(graph) if len(c) > 1] == []


def test_modules_are_small() -> None:
    lengths = {m: len(path.read_text("utf-8").splitlines()) for m, path in MODULES.items()}
    assert {m: n for m, n in lengths.items() if n > LONGEST_MODULE} == {}


def body_lines(function: ast.FunctionDef) -> int:
    """Lines of a function from its ``def``, without its docstring."""
    assert function.end_lineno is not None
    lines = function.end_lineno - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function) is not None and first.end_lineno is not None:
        lines -= first.end_lineno - first.lineno + 1
    return lines


def test_functions_are_short() -> None:
    long = {
        f"{module}.{node.name}": body_lines(node)
        for module, path in MODULES.items()
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef) and body_lines(node) > LONGEST_FUNCTION
    }
    assert not long

"""What the page on installing says that no other test holds: completion, and what is packed."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize(
    ("typed", "offered"), [("restitch fi", "fix"), ("restitch fix a b --dry", "--dry-run")]
)
def test_completion_offers_commands_and_options(typed: str, offered: str) -> None:
    words = typed.split()
    asked = {
        "_RESTITCH_COMPLETE": "complete_bash",
        "COMP_WORDS": typed,
        "COMP_CWORD": str(len(words) - 1),
    }
    call = "import sys; sys.argv = ['restitch']; from restitch.cli import main; main()"
    run = subprocess.run(
        [sys.executable, "-c", call], env=os.environ | asked, capture_output=True, text=True
    )
    assert offered in run.stdout.split()


def test_the_source_distribution_holds_what_the_tests_need() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    packed = set(project["tool"]["hatch"]["build"]["targets"]["sdist"]["include"])
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True
    ).stdout.split()
    if not tracked:
        pytest.skip("no checkout: nothing says what belongs into it")
    tops = {path.split("/")[0] for path in tracked} - {".gitignore", "pyproject.toml"}
    assert {top for top in tops if not top.endswith(".md")} <= packed

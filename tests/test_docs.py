"""The quick start as printed: its commands are run, in order, in a folder of their own."""

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def blocks(page: str, language: str) -> list[str]:
    """Text of every fenced block of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```", page, re.M | re.S)


def test_every_command_of_the_quick_start_runs(tmp_path: Path) -> None:
    page = (ROOT / "docs" / "quick-start.md").read_text("utf-8")
    (decisions,) = blocks(page, "toml")
    (tmp_path / "decisions.toml").write_text(decisions)
    (tmp_path / "fixtures").symlink_to(ROOT / "fixtures")
    programs = tmp_path / ".venv" / "bin"
    programs.mkdir(parents=True)
    program = programs / "restitch"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m restitch "$@"\n')
    program.chmod(0o755)
    commands = [line for text in blocks(page, "sh") for line in text.splitlines()]
    commands = [c for c in commands if "pip install" not in c]  # installed for the tests already
    assert len(commands) >= 3
    for command in commands:
        run = subprocess.run(
            command, shell=True, cwd=tmp_path, env=os.environ, capture_output=True, text=True
        )
        assert run.returncode == 0, f"{command}\n{run.stderr}"
    assert (tmp_path / "rescued.pes").stat().st_size > 0
    assert "<html" in (tmp_path / "rescued.html").read_text("utf-8")

"""A short fuzz run: the long one, with its results, is in the docs."""

import subprocess
import sys
from pathlib import Path

import pytest

RUN = Path(__file__).parents[2] / "fuzz" / "run.py"


@pytest.mark.skipif(not RUN.exists(), reason="the fuzz folder is not part of this copy")
def test_a_short_run_finds_nothing(tmp_path):
    page = tmp_path / "fuzz.md"
    options = ["--mutants", "25", "--seed", "7", "--table", str(page)]
    done = subprocess.run([sys.executable, RUN, *options], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "| **all** |" in page.read_text()

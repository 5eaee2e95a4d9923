"""Killed at any moment, resumed: nothing lost, nothing partial, nothing done wrongly.

`benchmarks/folders.py kill` does the same a hundred times with real designs.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from stand_in import expected, fill, outputs, rescue, settings

from restitch.folder import Journal, fix_folder

HERE = Path(__file__).parent

RUN = """
import sys
from pathlib import Path
from stand_in import rescue, settings
from restitch.folder import fix_folder

if __name__ == "__main__":
    source, target, workers = sys.argv[1:]
    fix_folder(Path(source), Path(target), settings(), workers=int(workers), rescue=rescue)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
@pytest.mark.parametrize("workers", [1, 2])
def test_killed_and_resumed(tmp_path: Path, workers: int) -> None:
    source, target, script = tmp_path / "in", tmp_path / "out", tmp_path / "run.py"
    fill(source, 16)
    script.write_text(RUN)
    before = outputs(source)
    chance = random.Random(workers)
    env = {**os.environ, "PYTHONPATH": str(HERE)}
    for _ in range(6):
        process = subprocess.Popen(
            [sys.executable, str(script), str(source), str(target), str(workers)], env=env
        )
        journal = target / ".restitch-journal"
        grown = _size(journal) + chance.randint(1, 900)
        limit = time.monotonic() + 20
        while _size(journal) < grown and process.poll() is None and time.monotonic() < limit:
            time.sleep(0.001)
        process.kill()
        process.wait()
    time.sleep(0.3)  # workers of the killed run notice that it is gone
    fix_folder(source, target, settings(), rescue=rescue)
    assert outputs(target) == expected(source)
    assert outputs(source) == before
    with Journal(target) as held:
        assert all(e.result is not None for e in held.entries.values())


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0

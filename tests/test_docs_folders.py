"""Commands of the page on folders that need a cluster or run until Ctrl-C, as typed."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from restitch.cli import main
from restitch.cli.folder_run import INTERRUPTED

FIXTURES = Path(__file__).parent.parent / "fixtures"
PATIENCE_S = 90
"""A loaded machine takes a while to start three processes."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one design in ``incoming``."""
    (tmp_path / "incoming").mkdir()
    shutil.copy(FIXTURES / "cap-front.xxx", tmp_path / "incoming")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for one process")
def test_a_drop_folder_until_ctrl_c(folder: Path) -> None:
    command = ["watch", "incoming/", "rescued/", "--fabric", "cap", "--poll", "0.2"]
    watching = subprocess.Popen(
        [sys.executable, "-m", "restitch", *command],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        until = time.monotonic() + PATIENCE_S
        while not (folder / "rescued" / "cap-front.xxx").exists():
            assert watching.poll() is None
            assert time.monotonic() < until
            time.sleep(0.1)
        assert watching.stdout is not None
        assert watching.stdout.readline().startswith("fixed         cap-front.xxx")
        watching.send_signal(signal.SIGINT)
        _, told = watching.communicate(timeout=PATIENCE_S)
    finally:
        watching.kill()
    assert watching.returncode == INTERRUPTED
    assert "stopped; what was done is kept" in told


def test_a_folder_on_a_cluster(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        command = ["fix", "incoming/", "rescued/", "--fabric", "cap", "--cluster"]
        monkeypatch.setattr(sys, "argv", ["restitch", *command, cluster.scheduler_address])
        with pytest.raises(SystemExit) as ended:
            main()
    assert ended.value.code == 0
    assert ": 1 fixed" in capsys.readouterr().out
    assert (folder / "rescued" / "cap-front.xxx").exists()

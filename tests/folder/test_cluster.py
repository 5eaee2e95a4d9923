"""The same run on a Dask cluster of two worker processes, one of them killed in mid-run."""

from __future__ import annotations

import os
import signal
from collections import Counter
from pathlib import Path

import pytest
from stand_in import expected, fill, outputs, rescue, settings

from restitch.errors import UsageError
from restitch.folder import FileResult, Progress, fix_folder

distributed = pytest.importorskip(
    "distributed", reason="Dask is not installed: pip install 'restitch[cluster]'"
)


def test_every_file_once_though_a_worker_is_killed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))
    source, target = tmp_path / "in", tmp_path / "out"
    fill(source, 40)
    killed: list[int] = []
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        workers = [w.pid for w in cluster.workers.values()]
        assert len(workers) == 2

        def told(progress: Progress, result: FileResult) -> None:
            if progress.done == 8:
                os.kill(workers[0], signal.SIGTERM if os.name == "nt" else signal.SIGKILL)
                killed.append(workers[0])

        summary = fix_folder(
            source,
            target,
            settings(),
            cluster=cluster.scheduler_address,
            rescue=rescue,
            on_progress=told,
        )
    assert killed
    assert summary.counts == {"fixed": 40}
    assert set(Counter(r.path for r in summary.results).values()) == {1}
    assert outputs(target) == expected(source)


def test_no_scheduler_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(tmp_path / "in", 1)
    monkeypatch.setattr("restitch.folder.cluster.CONNECT_SECONDS", 1)
    with pytest.raises(UsageError, match="no scheduler answers"):
        fix_folder(tmp_path / "in", tmp_path / "out", settings(), cluster="tcp://127.0.0.1:1")

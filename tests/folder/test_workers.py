"""Worker processes under limits: a file that hangs or takes all memory is a failed file."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from stand_in import expected, fill, outputs, rescue, settings

from restitch.errors import ExitCode, UsageError
from restitch.folder import FileResult, Journal, Limits, Progress, fix_folder
from restitch.folder.jobs import Job
from restitch.folder.work import Work
from restitch.folder.workers import in_workers


def run(source: Path, target: Path, workers: int, **limits: float) -> dict[str, FileResult]:
    summary = fix_folder(
        source, target, settings(), workers=workers, limits=Limits(**limits), rescue=rescue
    )
    return {r.path: r for r in summary.results}


@pytest.mark.parametrize("workers", [1, 2])
def test_a_file_that_hangs_is_a_failed_file(tmp_path: Path, workers: int) -> None:
    source, target = tmp_path / "in", tmp_path / "out"
    fill(source, 6)
    (source / "a" / "endless.dst").write_text("hangs")
    begun = time.monotonic()
    found = run(source, target, workers, seconds=1.5)
    assert time.monotonic() - begun < 20
    assert "takes more than 1.5 s; given up" in found["a/endless.dst"].reason
    assert sum(r.failed for r in found.values()) == 1
    assert len(outputs(target)) == 6
    # what failed for want of time is tried again; the rest is done
    (source / "a" / "endless.dst").write_text("harmless")
    assert [p for p, r in run(source, target, workers).items() if r.fresh] == ["a/endless.dst"]
    assert outputs(target) == expected(source)


@pytest.mark.skipif(sys.platform != "linux", reason="address space is limited on Linux")
def test_a_file_that_takes_all_memory_is_a_failed_file(tmp_path: Path) -> None:
    source, target = tmp_path / "in", tmp_path / "out"
    fill(source, 3)
    (source / "a" / "greedy.dst").write_text("greedy")
    found = run(source, target, 1, memory_bytes=2 << 30)
    assert found["a/greedy.dst"].reason.endswith("greedy.dst: not enough memory")
    assert found["a/greedy.dst"].exit_code == ExitCode.NOT_WRITTEN
    assert len(outputs(target)) == 3


def test_a_worker_that_dies_once_costs_no_file(tmp_path: Path) -> None:
    """The file is done by the next worker."""
    source, target = tmp_path / "in", tmp_path / "out"
    fill(source, 4)
    (source / "b" / "poison.dst").write_text("kills once")
    found = run(source, target, 2)
    assert not any(r.failed for r in found.values())
    assert len(outputs(target)) == 5


def test_no_worker_is_started_for_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("restitch.folder.workers._Worker", None)
    assert list(in_workers(4, [], Work(settings()), Limits())) == []


@pytest.mark.skipif(sys.platform != "linux", reason="address space is limited on Linux")
def test_workers_that_cannot_start_are_one_line(tmp_path: Path) -> None:
    job = Job("a.dst", tmp_path / "a.dst", tmp_path / "b.dst")
    with pytest.raises(UsageError, match="no worker process can be started"):
        list(in_workers(2, [job], Work(settings(), rescue=_unpicklable_there), Limits()))


def test_workers_run_one_number_thread_each(tmp_path: Path) -> None:
    before = dict(os.environ)
    job = Job("a.dst", tmp_path / "a.dst", tmp_path / "b.dst")
    (result,) = in_workers(1, [job], Work(settings(), rescue=_tell_threads), Limits())
    assert result.reason.endswith("(RuntimeError: 1)")
    assert dict(os.environ) == before


def test_progress_counts_work_not_files(tmp_path: Path) -> None:
    """A large file is most of the work; what an earlier run did is none."""
    source, target = tmp_path / "in", tmp_path / "out"
    fill(source, 3)
    (source / "large.dst").write_bytes(b"x" * 200_000)
    told: list[Progress] = []

    def run_once() -> None:
        told.clear()
        fix_folder(
            source, target, settings(), rescue=rescue, on_progress=lambda p, _: told.append(p)
        )

    run_once()
    assert [(p.done, p.total) for p in told] == [(1, 4), (2, 4), (3, 4), (4, 4)]
    assert told[0].share > 0.9  # the largest goes first
    assert told[-1].share == 1.0
    (source / "large.dst").write_bytes(b"y" * 200_000)
    run_once()
    assert told[-1].share == 1.0


def test_results_are_noted_in_any_order(tmp_path: Path) -> None:
    source, target = tmp_path / "in", tmp_path / "out"
    fill(source, 9)
    run(source, target, 3)
    with Journal(target) as journal:
        assert all(e.result is not None for e in journal.entries.values())
        assert len(journal.entries) == 9


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="needs process groups")
def test_an_interrupt_is_for_the_run_alone(tmp_path: Path) -> None:
    """Ctrl-C reaches every process of the terminal; workers may be in the middle of starting."""
    source, target, script = tmp_path / "in", tmp_path / "out", tmp_path / "run.py"
    fill(source, 400)
    script.write_text(RUN)
    for wait in (0.1, 0.3, 0.6):
        process = subprocess.Popen(
            [sys.executable, str(script), str(source), str(target)],
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parent)},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        assert process.stdout is not None
        assert process.stdout.readline() == "begun\n"
        time.sleep(wait)
        os.killpg(process.pid, signal.SIGINT)
        assert process.communicate(timeout=20)[0] == "stopped\n"
    assert not list(target.rglob("*.tmp"))


RUN = """
import sys
from pathlib import Path
from stand_in import rescue, settings
from restitch.folder import fix_folder

if __name__ == "__main__":
    print("begun", flush=True)
    try:
        fix_folder(Path(sys.argv[1]), Path(sys.argv[2]), settings(), workers=2, rescue=rescue)
    except KeyboardInterrupt:
        print("stopped")
"""


def _tell_threads(source: Path, *_args: object, **_more: object) -> None:
    raise RuntimeError(os.environ["OPENBLAS_NUM_THREADS"])


class _Unpicklable:
    def __call__(self, *_args: object, **_more: object) -> None: ...

    def __reduce__(self) -> tuple[object, ...]:
        return os._exit, (1,)


_unpicklable_there = _Unpicklable()

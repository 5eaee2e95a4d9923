"""A folder of files: every file a result, nothing of the user's touched, resumed by content."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path
from types import SimpleNamespace

import pytest
import stand_in
from stand_in import expected, fill, outputs, rescue, settings

from restitch.errors import ExitCode, UnreadableError, UsageError, WriteError
from restitch.folder import FileResult, fix_folder


def run(source: Path, target: Path, **options: object) -> dict[str, FileResult]:
    chosen = options.pop("settings", settings())
    summary = fix_folder(source, target, chosen, rescue=rescue, **options)  # type: ignore[arg-type]
    return {r.path: r for r in summary.results}


@pytest.fixture
def source(tmp_path: Path) -> Path:
    fill(tmp_path / "in", 7, "plain")
    return tmp_path / "in"


def test_the_tree_is_mirrored(source: Path, tmp_path: Path) -> None:
    (source / "notes.txt").write_text("not a stitch file")
    (source / ".hidden.dst").write_text("hidden")
    run(source, tmp_path / "out")
    (source / ".hidden.dst").unlink()
    assert outputs(tmp_path / "out") == expected(source)


def test_a_bad_file_stops_nothing(source: Path, tmp_path: Path) -> None:
    (source / "a" / "cut.dst").write_text("damaged")
    (source / "a" / "odd.dst").write_text("bug")
    (source / "a" / "no.dst").write_text("refused")
    summary = fix_folder(source, tmp_path / "out", settings(), rescue=rescue)
    failures = {r.path: (r.exit_code, r.reason) for r in summary.failures}
    assert set(failures) == {"a/cut.dst", "a/odd.dst", "a/no.dst"}
    assert failures["a/cut.dst"] == (3, "cut.dst: ends early")
    assert failures["a/no.dst"][0] == 5
    assert "\n" not in failures["a/odd.dst"][1]
    assert summary.exit_code == ExitCode.FINDINGS
    assert summary.counts == {"failed": 3, "fixed": 7}
    assert summary.saved == {"stitches": 35}
    assert len(outputs(tmp_path / "out")) == 7


def test_a_second_run_does_only_what_is_missing_or_changed(source: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    (source / "a" / "cut.dst").write_text("damaged")
    run(source, out)
    again = run(source, out)
    assert not any(r.fresh for r in again.values())
    (source / "a" / "file000.dst").write_text("new content")
    (out / "b" / "file001.dst").unlink()
    third = run(source, out)
    assert {p for p, r in third.items() if r.fresh} == {"a/file000.dst", "b/file001.dst"}
    other = run(source, out, settings=settings("fleece"))
    assert all(r.fresh for r in other.values())
    (source / "a" / "cut.dst").unlink()
    assert outputs(out) == expected(source, "fleece")


def test_results_come_back_after_a_source_was_damaged_for_a_while(
    source: Path, tmp_path: Path
) -> None:
    out, file = tmp_path / "out", source / "a" / "file000.dst"
    run(source, out)
    file.write_text("damaged")
    assert run(source, out)["a/file000.dst"].failed
    file.write_text("repaired")
    assert not run(source, out)["a/file000.dst"].failed
    assert outputs(out) == expected(source)


def test_files_of_the_user_are_not_replaced(source: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / "a").mkdir(parents=True)
    mine = out / "a" / "file000.dst"
    mine.write_text("my own work")
    found = run(source, out)
    assert "--replace" in found["a/file000.dst"].reason
    assert found["a/file000.dst"].exit_code == ExitCode.NOT_WRITTEN
    assert mine.read_text() == "my own work"
    run(source, out, settings=settings(replace=True))
    assert outputs(out) == expected(source)
    mine.write_text("edited by hand")
    assert run(source, out, settings=settings("cap"))["a/file000.dst"].failed
    assert mine.read_text() == "edited by hand"


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_the_same_bytes_for_any_number_of_workers(
    source: Path, tmp_path: Path, workers: int
) -> None:
    run(source, tmp_path / "out", workers=workers)
    assert outputs(tmp_path / "out") == expected(source)


def test_a_file_that_kills_its_worker_is_a_failed_file(source: Path, tmp_path: Path) -> None:
    (source / "b" / "poison.dst").write_text("kills")
    found = run(source, tmp_path / "out", workers=2)
    assert "process ended" in found["b/poison.dst"].reason
    assert sum(r.failed for r in found.values()) == 1
    assert len(outputs(tmp_path / "out")) == 7


def test_patterns_choose_files(source: Path, tmp_path: Path) -> None:
    found = run(source, tmp_path / "out", include=("a/*", "file001*"), exclude=("*003.dst",))
    assert set(found) == {"a/file000.dst", "a/file006.dst", "b/file001.dst"}


def test_a_dry_run_writes_nothing(source: Path, tmp_path: Path) -> None:
    found = run(source, tmp_path / "out", dry_run=True)
    assert {r.outcome for r in found.values()} == {"preview"}
    assert not (tmp_path / "out").exists()


def test_folders_inside_one_another_are_refused(source: Path, tmp_path: Path) -> None:
    for bad in (source / "out", source, tmp_path, source / "a" / ".." / "x"):
        with pytest.raises(UsageError, match="source folder"):
            run(source, bad)
    with pytest.raises(UnreadableError, match="no stitch files"):
        run(source, tmp_path / "out", include=("*.pes",))
    with pytest.raises(UnreadableError, match="no such folder"):
        run(tmp_path / "none", tmp_path / "out")


def test_a_full_disk_is_told_for_each_file_and_the_next_run_goes_on(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, calls = tempfile.mkstemp, []

    def full(*args: object) -> object:
        calls.append(args)
        if len(calls) > 3:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(*args)  # type: ignore[call-overload]

    monkeypatch.setattr(tempfile, "mkstemp", full)
    found = run(source, tmp_path / "out")
    failed = [r for r in found.values() if r.failed]
    assert len(failed) == 4
    assert all(r.exit_code == 4 and "No space left" in r.reason for r in failed)
    assert len(outputs(tmp_path / "out")) == 3
    monkeypatch.setattr(tempfile, "mkstemp", real)
    again = run(source, tmp_path / "out")
    assert sum(r.fresh for r in again.values()) == 4
    assert outputs(tmp_path / "out") == expected(source)


def test_a_journal_that_cannot_be_written_ends_the_run_with_its_account(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = []

    def full(handle: int) -> None:
        calls.append(handle)
        if len(calls) == 6:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("restitch.folder.journal.os", SimpleNamespace(fsync=full))
    summary = fix_folder(source, tmp_path / "out", settings(), rescue=rescue)
    assert "no space left" in summary.stopped
    assert "run again" in summary.stopped
    assert "\n" not in summary.stopped
    assert (summary.total, summary.counts) == (7, {"fixed": 2})
    assert summary.exit_code == ExitCode.NOT_WRITTEN
    monkeypatch.undo()
    run(source, tmp_path / "out")
    assert outputs(tmp_path / "out") == expected(source)


def test_two_runs_do_not_share_a_target(source: Path, tmp_path: Path) -> None:
    from restitch.folder import Journal

    (tmp_path / "out").mkdir()
    with Journal(tmp_path / "out"), pytest.raises(WriteError, match="another run"):
        run(source, tmp_path / "out")


def test_sources_are_never_changed(source: Path, tmp_path: Path) -> None:
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in source.rglob("*.dst")}
    run(source, tmp_path / "out", workers=2)
    assert {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in source.rglob("*.dst")} == before
    assert not list(source.rglob("*.tmp"))
    assert stand_in.outputs(source).keys() == {p.relative_to(source).as_posix() for p in before}


def test_a_folder_that_cannot_be_listed_is_told(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.scandir

    def shut(path: str) -> object:
        if str(path).endswith("b"):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", shut)
    found = run(source, tmp_path / "out")
    assert [r.path for r in found.values() if r.failed] == ["b"]
    assert "cannot be read" in found["b"].reason
    assert sum(not r.failed for r in found.values()) == 5

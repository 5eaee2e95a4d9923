"""A drop folder: files are taken when they are complete, once, and left where they are."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from stand_in import expected, outputs, rescue, settings

from restitch.errors import UsageError
from restitch.folder import FileResult, watch


def watched(source: Path, target: Path, steps: list[Callable[[], object]]) -> list[FileResult]:
    """Watch while the steps happen between the looks."""
    results: list[FileResult] = []
    left = list(steps)

    def sleep(seconds: float) -> None:
        assert seconds == 0.5
        if left:
            left.pop(0)()

    watch(
        source,
        target,
        settings(),
        poll_seconds=0.5,
        polls=len(steps) + 4,
        on_result=results.append,
        sleep=sleep,
        rescue=rescue,
    )
    return results


def test_a_growing_file_is_waited_for(tmp_path: Path) -> None:
    source, target = tmp_path / "in", tmp_path / "out"
    source.mkdir()
    file = source / "slow.dst"
    steps = [lambda k=k: file.write_text("x" * k) for k in range(1, 8)]
    found = watched(source, target, steps)
    assert [r.path for r in found] == ["slow.dst"]
    assert outputs(target) == expected(source)
    assert file.read_text() == "x" * 7


def test_each_file_once_and_again_when_it_changes(tmp_path: Path) -> None:
    source, target = tmp_path / "in", tmp_path / "out"
    source.mkdir()
    (source / "one.dst").write_text("first")
    wait = lambda: None  # noqa: E731
    change = lambda: (source / "one.dst").write_text("second words")  # noqa: E731
    found = watched(source, target, [wait, wait, wait, wait, change, wait, wait, wait])
    assert [r.outcome for r in found] == ["fixed", "fixed"]
    assert outputs(target) == expected(source)
    assert watched(source, target, [wait, wait, wait]) == []


def test_a_share_that_goes_away_is_waited_for(tmp_path: Path) -> None:
    source, target, away = tmp_path / "in", tmp_path / "out", tmp_path / "away"
    source.mkdir()
    (source / "one.dst").write_text("here")
    steps = [lambda: source.rename(away), lambda: None, lambda: away.rename(source)]
    assert [r.path for r in watched(source, target, steps)] == ["one.dst"]


def test_a_failed_file_is_told_once(tmp_path: Path) -> None:
    source, target = tmp_path / "in", tmp_path / "out"
    source.mkdir()
    (source / "cut.dst").write_text("damaged")
    found = watched(source, target, [lambda: None] * 6)
    assert [r.outcome for r in found] == ["failed"]


def test_what_could_not_be_written_is_tried_again_and_told_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, target = tmp_path / "in", tmp_path / "out"
    source.mkdir()
    target.mkdir()
    (source / "one.dst").write_text("here")
    (target / "one.dst").write_text("the user's own")
    monkeypatch.setattr(sys.modules["restitch.folder.watch"], "RETRY_POLLS", 3)
    wait = lambda: None  # noqa: E731
    steps = [*[wait] * 12, (target / "one.dst").unlink, *[wait] * 4]
    found = watched(source, target, steps)
    assert [r.outcome for r in found] == ["failed", "fixed"]
    assert outputs(target) == expected(source)


def test_the_results_may_not_fall_into_the_drop_folder(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    with pytest.raises(UsageError):
        watched(tmp_path / "in", tmp_path / "in" / "out", [])

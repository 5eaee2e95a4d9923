"""Writing leaves a whole file or nothing, and never touches the source."""

import errno
import os
import stat

import pytest
from file_makers import HARBOUR_THREADS, lighthouse, stream_of

from restitch.errors import ExitCode, UsageError, WriteError
from restitch.files import (
    clear_leftovers,
    digest,
    encode,
    read_stream,
    staged,
    unchanged,
    write_bytes,
    write_stream,
)
from restitch.files import write as write_room


@pytest.fixture
def source(tmp_path):
    path = tmp_path / "lighthouse.pes"
    write_stream(lighthouse(), path)
    return path


def names(folder):
    return sorted(p.name for p in folder.iterdir())


def test_a_written_file_reads_back(tmp_path):
    path = tmp_path / "lighthouse.dst"
    warnings = write_stream(lighthouse(), path)
    assert any("colours" in w for w in warnings)
    assert len(read_stream(path).stitch_index) == len(lighthouse().stitch_index)
    assert names(tmp_path) == ["lighthouse.dst"]


def test_an_existing_target_is_kept_unless_told(source):
    before = digest(source)
    with pytest.raises(WriteError, match="exists already"):
        write_stream(lighthouse(20), source)
    assert unchanged(source, before)
    write_stream(lighthouse(20), source, replace=True)
    assert not unchanged(source, before)


def test_the_source_is_refused_as_target_under_any_name(source):
    hard, soft = source.with_name("hard.pes"), source.with_name("soft.pes")
    os.link(source, hard)
    soft.symlink_to(source)
    before = digest(source)
    for target in (source, hard, soft, source.parent / "." / source.name):
        with pytest.raises(UsageError, match="is the source") as caught:
            write_stream(lighthouse(), target, source=source, replace=True)
        assert caught.value.exit_code == ExitCode.USAGE
    assert unchanged(source, before)


def test_places_where_no_file_can_be(tmp_path, source):
    with pytest.raises(WriteError, match="is a folder"):
        write_stream(lighthouse(), tmp_path)
    with pytest.raises(WriteError, match="no such folder"):
        write_stream(lighthouse(), tmp_path / "none" / "a.dst")
    with pytest.raises(WriteError, match=r"a\.hus: .*cannot be written"):
        write_stream(lighthouse(), tmp_path / "a.hus")
    assert names(tmp_path) == ["lighthouse.pes"]


@pytest.mark.parametrize("fails", ["fsync", "replace", "fdopen"])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EACCES, errno.EROFS, errno.EIO])
def test_a_failure_at_any_step_leaves_what_was_there(source, monkeypatch, fails, code):
    def fail(*_args, **_more):
        raise OSError(code, os.strerror(code))

    before = digest(source)
    monkeypatch.setattr(os, fails, fail)
    for target in (source, source.with_name("new.dst")):
        with pytest.raises(WriteError, match="nothing written") as caught:
            write_stream(lighthouse(20), target, replace=True)
        assert "\n" not in str(caught.value)
        assert caught.value.exit_code == ExitCode.NOT_WRITTEN
    monkeypatch.undo()
    assert names(source.parent) == ["lighthouse.pes"]
    assert unchanged(source, before)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write all")
def test_a_folder_without_permission(tmp_path):
    shut = tmp_path / "shut"
    shut.mkdir()
    shut.chmod(stat.S_IRUSR | stat.S_IXUSR)
    with pytest.raises(WriteError, match="cannot be written"):
        write_stream(lighthouse(), shut / "a.dst")
    shut.chmod(stat.S_IRWXU)
    assert names(shut) == []


def test_an_interrupt_leaves_nothing(tmp_path, monkeypatch):
    def interrupt(*_args):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_stream(lighthouse(), tmp_path / "a.dst")
    assert names(tmp_path) == []


def test_a_busy_target_is_tried_again_on_windows(tmp_path, monkeypatch):
    """A virus scanner holds a new file for a moment (common on Windows)."""
    calls = []
    real = os.replace

    def busy(a, b):
        calls.append(a)
        if len(calls) < 3:
            raise PermissionError(errno.EACCES, "in use")
        real(a, b)

    monkeypatch.setattr(write_room, "WINDOWS", True)
    monkeypatch.setattr(write_room.time, "sleep", lambda _s: None)
    monkeypatch.setattr(os, "replace", busy)
    write_bytes(b"harbour", tmp_path / "a.txt")
    assert len(calls) == 3
    assert (tmp_path / "a.txt").read_bytes() == b"harbour"
    calls.clear()
    monkeypatch.setattr(os, "replace", lambda *_a: calls.append(1) or fail_busy())
    with pytest.raises(WriteError, match="in use"):
        write_bytes(b"town", tmp_path / "a.txt", replace=True)
    assert 1 < len(calls) < 10
    assert names(tmp_path) == ["a.txt"]


def fail_busy():
    raise PermissionError(errno.EACCES, "in use")


def test_a_stream_that_does_not_read_back_is_not_written(tmp_path):
    stream = stream_of([[0, 0, 0], [9, 9, 0], [9, 9, 4]], HARBOUR_THREADS[:3])
    with pytest.raises(WriteError, match=r"a\.pes: 3 threads for 1 colour blocks"):
        write_stream(stream, tmp_path / "a.pes")
    assert names(tmp_path) == []


def test_leftovers_of_a_killed_run_are_cleared(tmp_path):
    (tmp_path / ".restitch-abc.tmp").write_bytes(b"half")
    (tmp_path / "a.dst").write_bytes(encode(lighthouse(), "dst").data)
    assert clear_leftovers(tmp_path) == 1
    assert names(tmp_path) == ["a.dst"]


def test_new_files_have_the_permissions_of_any_new_file(tmp_path):
    write_bytes(b"harbour", tmp_path / "a.txt")
    (tmp_path / "b.txt").write_bytes(b"town")
    assert (tmp_path / "a.txt").stat().st_mode == (tmp_path / "b.txt").stat().st_mode


def test_a_source_that_changes_meanwhile_stops_the_write(source, tmp_path):
    """What was read is no longer what is there: the result would be of another file."""
    before = digest(source)
    write_bytes(b"harbour", tmp_path / "a.txt", source=source, source_sha256=before)
    source.write_bytes(source.read_bytes() + b"\0")
    for gone in (False, True):
        if gone:
            source.unlink()
        with pytest.raises(WriteError, match="changed while it was being read"):
            write_bytes(b"town", tmp_path / "b.txt", source=source, source_sha256=before)
    assert names(tmp_path) == ["a.txt"]


def test_files_that_belong_together_are_put_in_place_together(tmp_path):
    with staged(b"page", tmp_path / "page.html"):
        assert not (tmp_path / "page.html").exists()
        write_bytes(b"harbour", tmp_path / "a.txt")
    assert names(tmp_path) == ["a.txt", "page.html"]


def test_neither_is_where_one_cannot_be(tmp_path):
    refused = pytest.raises(WriteError, match="no such folder")
    with refused, staged(b"page", tmp_path / "page.html"):
        write_bytes(b"harbour", tmp_path / "none" / "a.txt")
    assert names(tmp_path) == []
    refused = pytest.raises(WriteError, match="no such folder")
    with refused, staged(b"page", tmp_path / "none" / "page.html"):
        write_bytes(b"harbour", tmp_path / "a.txt")
    assert names(tmp_path) == []


def test_an_error_of_the_block_is_not_taken_for_one_of_the_write(tmp_path):
    """Only what the write itself meets is told as "cannot be written"."""
    with pytest.raises(FileNotFoundError), staged(b"page", tmp_path / "page.html"):
        (tmp_path / "none").read_bytes()
    assert names(tmp_path) == []

"""The journal survives a cut or a flip at any byte."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import settings as trial
from hypothesis import strategies as st

from restitch.errors import WriteError
from restitch.folder import JOURNAL_NAME, FileResult, Journal

RESULTS = [FileResult(f"ordner/ä {k}.dst", "fixed", target_sha256=str(k)) for k in range(6)]


def written(folder: Path) -> bytes:
    with Journal(folder) as journal:
        for k, result in enumerate(RESULTS):
            journal.begin(result.path, "key", str(k))
            journal.finish(result, "key", str(k))
    return (folder / JOURNAL_NAME).read_bytes()


@trial(max_examples=60, deadline=None)
@given(cut=st.integers(0, 4000))
def test_what_was_whole_is_read_and_the_next_record_too(cut: int) -> None:
    with TemporaryDirectory() as name:
        folder = Path(name)
        data = written(folder)
        cut = min(cut, len(data))
        (folder / JOURNAL_NAME).write_bytes(data[:cut])
        # a line counts once its last byte but the line end is there
        whole = sum(
            data[:cut].endswith(line) or line + b"\n" in data[:cut]
            for line in data.split(b"\n")
            if line
        )
        with Journal(folder) as journal:
            assert len(journal.entries) == (whole + 1) // 2
            journal.finish(FileResult("new.dst", "fixed"), "key", "x")
        with Journal(folder) as journal:
            assert journal.entries["new.dst"].result == FileResult("new.dst", "fixed", fresh=False)
            assert len(journal.entries) == (whole + 1) // 2 + 1


@trial(max_examples=40, deadline=None)
@given(place=st.integers(0, 2000), value=st.integers(0, 255))
def test_a_damaged_line_is_no_record(place: int, value: int) -> None:
    with TemporaryDirectory() as name:
        folder = Path(name)
        data = bytearray(written(folder))
        data[place % len(data)] = value
        (folder / JOURNAL_NAME).write_bytes(bytes(data))
        with Journal(folder) as journal:
            known = {r.path: r for r in RESULTS}
            for path, entry in journal.entries.items():
                if entry.result is not None:
                    assert entry.result.target_sha256 == known[path].target_sha256


def test_an_interrupted_file_is_known_as_begun(tmp_path: Path) -> None:
    with Journal(tmp_path) as journal:
        journal.begin("a.dst", "key", "hash")
    with Journal(tmp_path) as journal:
        assert journal.entries["a.dst"].result is None


def test_records_of_another_make_are_passed_over(tmp_path: Path) -> None:
    import zlib

    text = b'{"path":"a.dst","key":"k","source":"s","result":{"unheard":1,"warnings":[]}}'
    (tmp_path / JOURNAL_NAME).write_bytes(b"%08x %s\nnonsense\n" % (zlib.crc32(text), text))
    with Journal(tmp_path) as journal:
        assert journal.entries == {}


@pytest.mark.parametrize("count", [3])
def test_the_last_word_counts(tmp_path: Path, count: int) -> None:
    with Journal(tmp_path) as journal:
        for k in range(count):
            journal.finish(FileResult("a.dst", "fixed", target_sha256=str(k)), "key", "s")
    with Journal(tmp_path) as journal:
        entry = journal.entries["a.dst"]
        assert entry.result is not None
        assert entry.result.target_sha256 == str(count - 1)


def test_the_lock_of_windows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without POSIX locks a byte far behind the end of the file is locked instead."""
    taken: list[int] = []

    def locking(handle: int, mode: int, size: int) -> None:
        if taken:
            raise OSError("held")
        taken.append(os.lseek(handle, 0, os.SEEK_CUR))

    monkeypatch.setitem(sys.modules, "fcntl", None)
    fake = SimpleNamespace(LK_NBLCK=2, locking=locking)
    monkeypatch.setitem(sys.modules, "msvcrt", fake)
    with Journal(tmp_path) as journal:
        assert taken == [1 << 30]
        with pytest.raises(WriteError, match="another run"):
            Journal(tmp_path)
        journal.finish(RESULTS[0], "key", "0")
    assert (tmp_path / JOURNAL_NAME).stat().st_size < 1000
    monkeypatch.setitem(sys.modules, "msvcrt", None)
    with Journal(tmp_path) as journal:  # a system with neither: no lock, all else as ever
        assert journal.entries[RESULTS[0].path].source_sha256 == "0"


def test_a_record_that_is_written_in_pieces_is_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A system may take less of a write than it was given (POSIX write(2))."""
    with Journal(tmp_path) as journal:
        real = journal._file
        monkeypatch.setattr(
            journal,
            "_file",
            SimpleNamespace(write=lambda d: real.write(d[:7]), fileno=real.fileno),
        )
        journal.finish(RESULTS[0], "key", "0")
        monkeypatch.undo()
    with Journal(tmp_path) as journal:
        assert journal.entries[RESULTS[0].path].result is not None

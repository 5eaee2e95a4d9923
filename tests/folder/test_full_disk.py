"""A disk that is full and a folder that is read only, as real file systems: one line, an exit
code, nothing new left, and a later run goes on.

Where no file system can be mounted (no root, not Linux) the failures are injected instead; see
`test_folder.py` and `tests/files/test_whole_or_nothing.py`.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from stand_in import expected, fill, outputs, rescue, settings

from restitch.errors import ExitCode
from restitch.folder import fix_folder

DESIGN = Path(__file__).parents[2] / "fixtures" / "small-lines.u01"


class Disk:
    """A small file system of its own."""

    def __init__(self, place: Path) -> None:
        self.place = place

    def fill(self, spare: int = 0) -> None:
        """Leave only so many bytes free (in blocks of the system)."""
        free = shutil.disk_usage(self.place).free
        with (self.place / "ballast").open("wb") as file:
            file.write(b"\1" * (free - spare))

    def empty(self) -> None:
        (self.place / "ballast").unlink()

    def shut(self) -> None:
        """Make it read only."""
        subprocess.run(["mount", "-o", "remount,ro", str(self.place)], check=True)

    def left(self) -> list[str]:
        """All files but ballast and journal."""
        return sorted(
            p.relative_to(self.place).as_posix()
            for p in self.place.rglob("*")
            if p.is_file() and p.name not in ("ballast", ".restitch-journal")
        )


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=400k", "restitch-test", str(place)]
    try:
        subprocess.run(mount, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no file system can be mounted here")
    yield Disk(place)
    subprocess.run(["umount", str(place)], check=True)


@pytest.fixture
def source(tmp_path: Path) -> Path:
    (tmp_path / "one").mkdir()
    return Path(shutil.copy(DESIGN, tmp_path / "one" / "design.u01"))


def restitch(*words: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "restitch", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60)


def refused(done: subprocess.CompletedProcess[str], *words: str) -> None:
    """One line that says so, and the exit code for it."""
    assert done.returncode == ExitCode.NOT_WRITTEN, done.stderr
    assert len(done.stderr.splitlines()) == 1
    for word in words:
        assert word in done.stderr.lower()


@pytest.mark.parametrize(
    ("state", "reason"), [("full", "no space left"), ("shut", "read-only file system")]
)
def test_single_files(disk: Disk, source: Path, tmp_path: Path, state: str, reason: str) -> None:
    before = source.read_bytes()
    if state == "full":
        disk.fill()
    else:
        disk.shut()
    new, page = tmp_path / "new.u01", disk.place / "page.html"
    refused(restitch("fix", source, disk.place / "new.u01"), "new.u01", reason)
    refused(restitch("draw", source, disk.place / "a.png"), "a.png", reason)
    refused(restitch("draw", source, disk.place / "a.svg"), "a.svg", reason)
    refused(restitch("fix", source, new, "--report", page), "page.html", reason)
    refused(restitch("compare", source, source, "--report", page), "page.html", reason)
    refused(restitch("fix", source.parent, disk.place / "out", "--json"), reason)
    assert disk.left() == []
    assert not new.exists()
    assert [p.name for p in source.parent.iterdir()] == ["design.u01"]
    assert source.read_bytes() == before


def test_room_for_the_start_of_a_file_only(disk: Disk, source: Path) -> None:
    """The write itself fails, not the making of the file: the half file is taken away."""
    disk.fill(spare=4096)
    assert len(source.read_bytes()) > 4096
    refused(restitch("fix", source, disk.place / "new.u01"), "no space left")
    assert disk.left() == []


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize("spare", [1, 13, 29])
def test_a_folder_run_goes_on_when_there_is_room_again(
    disk: Disk, tmp_path: Path, workers: int, spare: int
) -> None:
    """Room for the journal's first block only, for one result and a half, for four."""
    folder, out = tmp_path / "in", disk.place / "out"
    fill(folder, 9, "plain")
    before = outputs(folder)
    disk.fill(spare=spare * 4096)
    summary = fix_folder(folder, out, settings(), workers=workers, rescue=rescue)
    told = [summary.stopped, *(r.reason for r in summary.failures)]
    assert any("no space left" in text.lower() for text in told)
    assert summary.exit_code in (ExitCode.FINDINGS, ExitCode.NOT_WRITTEN)
    assert all(r.exit_code == ExitCode.NOT_WRITTEN for r in summary.failures)
    whole = expected(folder)
    assert all(whole[place] == data for place, data in outputs(out).items())
    assert (0 if spare == 1 else 1) <= len(outputs(out)) < 9
    disk.empty()
    again = fix_folder(folder, out, settings(), workers=workers, rescue=rescue)
    assert (again.counts, again.stopped) == ({"fixed": 9}, "")
    assert outputs(out) == whole
    assert outputs(folder) == before


def test_an_output_folder_shut_in_mid_life(disk: Disk, source: Path, tmp_path: Path) -> None:
    folder, out = tmp_path / "in", disk.place / "out"
    folder.mkdir()
    shutil.copy(source, folder)
    assert restitch("fix", folder, out).returncode == 0
    disk.shut()
    refused(restitch("fix", folder, out), ".restitch-journal", "read-only")
    assert disk.left() == ["out/design.u01"]

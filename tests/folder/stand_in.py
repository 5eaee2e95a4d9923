"""A rescue that takes no time: what the file says decides what becomes of it."""

from __future__ import annotations

import hashlib
import os
import time
from dataclasses import dataclass
from pathlib import Path

from restitch.errors import RefusedError, UnreadableError
from restitch.fabrics import default_profile
from restitch.files import ReaderProcess, digest, write_bytes
from restitch.report.model import FileFacts, Outcome, Report
from restitch.rescue_file import Settings


@dataclass(frozen=True)
class Found:
    """As much of a rescue's outcome as a folder run looks at."""

    report: Report


def settings(fabric: str = "twill", *, replace: bool = False) -> Settings:
    """Settings of a run."""
    return Settings(default_profile(fabric), replace=replace)


def rescued(data: bytes, fabric: str) -> bytes:
    """The bytes that the stand-in writes for a source."""
    return b"#" + hashlib.sha256(data + fabric.encode()).hexdigest().encode() * 400


def rescue(
    source: Path,
    target: Path,
    chosen: Settings,
    *,
    dry_run: bool = False,
    reader: ReaderProcess | None = None,
) -> Found:
    """Write `rescued` bytes, or fail as the file asks for."""
    data = source.read_bytes()
    if b"damaged" in data:
        raise UnreadableError(f"{source.name}: ends early")
    if b"refused" in data:
        raise RefusedError(f"{source}: refused")
    if b"bug" in data:
        raise ZeroDivisionError("a bug\nof ours")
    if b"kills" in data:
        mark = target.with_suffix(".mark")
        if b"once" not in data:
            os._exit(9)
        if not mark.exists():
            mark.touch()
            os._exit(9)
        mark.unlink()
    if b"hangs" in data:
        time.sleep(600)
    if b"greedy" in data:
        held = bytearray(1 << 40)
        assert not held
    if b"slow" in data:
        time.sleep(0.05)
    fabric = chosen.profile.fabric.name
    output = None
    if not dry_run:
        write_bytes(rescued(data, fabric), target, source=source, replace=chosen.replace)
        output = FileFacts(str(target), "dst", digest(target))
    return Found(
        Report(
            outcome=Outcome.PREVIEW if dry_run else Outcome.FIXED,
            source=FileFacts(str(source), "dst", digest(source)),
            output=output,
            profile=chosen.profile,
            fabric_note="",
            before={"stitches": len(data) + 5},
            after={"stitches": len(data)},
            objects=1,
        )
    )


def fill(folder: Path, count: int, text: str = "slow") -> None:
    """Put so many files into a folder and its subfolders."""
    for k in range(count):
        place = folder / f"{'abc'[k % 3]}" / f"file{k:03d}.dst"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(f"{text} {k}".encode())


def outputs(folder: Path) -> dict[str, bytes]:
    """Everything in a target folder but the journal."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.name != ".restitch-journal"
    }


def expected(folder: Path, fabric: str = "twill") -> dict[str, bytes]:
    """What an undisturbed run writes for a source folder."""
    return {
        p.relative_to(folder).as_posix(): rescued(p.read_bytes(), fabric)
        for p in sorted(folder.rglob("*.dst"))
    }

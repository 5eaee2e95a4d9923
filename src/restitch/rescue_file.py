"""One file to one file: read, rescue, write whole or not at all, and say what was done."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from functools import cache, partial
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from restitch.aside import Aside, in_turn, load
from restitch.errors import RefusedError, WriteError
from restitch.fabrics.model import Profile
from restitch.model import Finding, OrderFacts, Stream
from restitch.reading import Seen, first_look, listed
from restitch.report.model import FileFacts, Outcome, Report

if TYPE_CHECKING:
    from restitch.fabrics.threads import ListedThread
    from restitch.files import ReaderProcess
    from restitch.pipeline import Rescue


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user asked for besides the files."""

    profile: Profile
    fabric_note: str = ""
    decisions: Mapping[str, bool] = field(default_factory=dict)
    """False vetoes the change of that id."""
    threads: Mapping[int, ListedThread] = field(default_factory=dict)
    """Thread of each needle or block, where a list names them."""
    replace: bool = False
    """An existing target may be replaced."""

    @property
    def vetoed(self) -> frozenset[str]:
        """Ids of vetoed changes."""
        return frozenset(k for k, accepted in self.decisions.items() if not accepted)


@dataclass(frozen=True, slots=True, eq=False)
class Outcomes:
    """The report of a run and the streams it is about, for pictures."""

    report: Report
    source: Stream
    rescue: Rescue | None
    result: Stream


ROOMS = (
    "restitch.pipeline",
    "restitch.fix.stack",
    "restitch.fix.spacing",
    "restitch.fix.lengths",
    "restitch.fix.underlay",
    "restitch.sequence",
    "shapely",
    "PIL.ImageDraw",
)
"""What nearly every rescue comes to need, loaded while the file is being read."""

Beside = Callable[[Outcomes], AbstractContextManager[None]]
"""Makes what is held ready while the target is written; see `restitch.files.staged`."""


def rescue_file(
    source: Path,
    target: Path | None,
    settings: Settings,
    *,
    dry_run: bool = False,
    reader: ReaderProcess | None = None,
    beside: Beside | None = None,
    look: Iterator[Any] | None = None,
    aside: Aside = in_turn,
) -> Outcomes:
    """Rescue one file; write ``target`` unless it is a dry run.

    ``reader``: a warm process for files that must be parsed apart. ``beside``: holds ready what
    is put in place with the target, both or neither (a page). ``look``: the `first_look` at the
    source, where it has begun. ``aside``: how work that the rescue need not wait for is done
    (`restitch.aside`). Raises `UnreadableError`, `WriteError`, `UsageError` or `RefusedError`;
    then nothing new remains. The source is read once; before the result is put in place it must
    still hold what was read.
    """
    from restitch.files import check_target, extension_of, write_bytes

    if target is not None and not dry_run:
        check_target(target, source=source, replace=settings.replace)
    look = look or first_look(source, lambda: settings, reader)
    load(ROOMS)
    from restitch.pipeline import rescue

    read, stream, objects = next(look)
    stream = listed(stream, settings.threads)
    seen: Callable[[], Seen] = cache(partial(next, look))
    before = sha256(read).hexdigest()
    extension = extension_of(target) if target else stream.format
    _check_writable(target, extension)
    found = rescue(
        stream,
        settings.profile,
        settings.vetoed,
        extension,
        objects=objects,
        found=lambda: seen().found,
        aside=aside,
    )
    check_look(found, str(source), settings.profile)
    data, warnings = _bytes_of(found, read, extension, target or source)
    written = None
    if target is not None and not dry_run:
        written = FileFacts(
            str(target), extension, sha256(data).hexdigest(), len(data), stream.name
        )
    facts = FileFacts(str(source), stream.format, before, len(read), stream.name)
    warned = stream.warnings + warnings
    report = _report(found, seen().findings, facts, written, settings, dry_run, warned)
    outcomes = Outcomes(report, stream, found, found.result)
    if written is not None and target is not None:
        with beside(outcomes) if beside else nullcontext():
            write_bytes(data, target, source=source, source_sha256=before, replace=settings.replace)
    return outcomes


def _check_writable(target: Path | None, extension: str) -> None:
    from restitch.files import FORMATS, facts

    if facts(extension) is None and target is not None:
        known = ", ".join(FORMATS)
        raise WriteError(f"{target}: .{extension} cannot be written; formats that can: {known}")


def check_look(found: Rescue, name: str, profile: Profile) -> None:
    """Raise `RefusedError` where the result would keep less of the look than the profile asks."""
    least = profile.limits.look
    if not found.sound and found.look.kept < least:
        raise RefusedError(
            f"{name}: refused, the result would keep {found.look.kept:.1%} of the look "
            f"(limit {least:.1%}); nothing written. --skip leaves single fixes out"
        )


def _bytes_of(
    found: Rescue, read: bytes, extension: str, path: Path
) -> tuple[bytes, tuple[str, ...]]:
    """The source's own bytes where nothing changed and the format stays, else the encoded."""
    from restitch.files import encode

    if found.sound and extension == found.source.format:
        return read, ()
    try:
        encoded = found.encoded or encode(found.result, extension)
    except WriteError as error:
        raise WriteError(f"{path}: {error}") from None
    return encoded.data, encoded.warnings


def _figures(stream: Stream, profile: Profile) -> dict[str, Any]:
    """The figures of a stream on the profile's machine, as plain values."""
    from restitch.measure import measure

    return measure(stream, profile.machine, profile.limits, speed_spm=profile.speed_spm).as_dict()


def _report(
    found: Rescue,
    findings: tuple[Finding, ...],
    source: FileFacts,
    written: FileFacts | None,
    settings: Settings,
    dry_run: bool,
    warnings: tuple[str, ...],
) -> Report:
    profile = settings.profile
    before, after = (_figures(s, profile) for s in (found.source, found.result))
    outcome = Outcome.SOUND if found.sound else Outcome.PREVIEW if dry_run else Outcome.FIXED
    return Report(
        outcome=outcome,
        source=source,
        output=written,
        profile=profile,
        fabric_note=settings.fabric_note,
        before=before,
        after=after,
        objects=len(found.objects),
        changes=found.changes,
        findings=findings,
        look=found.look,
        order=found.order,
        warnings=warnings,
    )


def _unknown_colours(first: Stream, second: Stream) -> tuple[str, ...]:
    """What a comparison cannot tell where a file names no threads."""
    if first.colours_known and second.colours_known:
        return ()
    return (
        "no thread colours in the file: blocks are compared in the order they sew, so blocks in "
        "another order count as another look",
    )


def compare_files(first: Path, second: Path, settings: Settings) -> Outcomes:
    """Report how the second file differs from the first, in the terms of a fix report."""
    from restitch.files import digest, read_stream
    from restitch.infer import infer
    from restitch.restored import look_of_pair

    streams = [listed(read_stream(p), settings.threads) for p in (first, second)]
    profile = settings.profile
    before, after = (_figures(s, profile) for s in streams)
    objects = infer(streams[0])
    facts = [
        FileFacts(str(p), s.format, digest(p), p.stat().st_size, s.name)
        for p, s in zip((first, second), streams, strict=True)
    ]
    report = Report(
        outcome=Outcome.COMPARED,
        source=facts[0],
        output=facts[1],
        profile=profile,
        fabric_note=settings.fabric_note,
        before=before,
        after=after,
        objects=len(objects),
        look=look_of_pair(streams[0], streams[1], objects),
        order=OrderFacts(),
        warnings=(*streams[0].warnings, *streams[1].warnings, *_unknown_colours(*streams)),
    )
    return Outcomes(report, streams[0], None, streams[1])

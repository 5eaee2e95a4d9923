"""The library's five doors: read, infer, check, fix, write; each without the command line.

All lengths of a `Stream` are the file's own integers (0.1 mm, y down); whatever ends in ``_mm``
is millimetres. Nothing is printed, nothing is kept between calls, and the same arguments give the
same result. Expected failures are `RestitchError`s with a one-line message.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from restitch.errors import UsageError
from restitch.model import Finding, SewnObject, Stream

if TYPE_CHECKING:
    from restitch.fabrics.model import Profile
    from restitch.pipeline import Rescue


def read(path: Path | str) -> Stream:
    """Return a stitch file as a stream; the extension tells the format.

    ``xy`` is an (n, 2) int32 array in 0.1 mm, ``command`` an (n,) array; record ``i`` is record
    ``i`` of ``pyembroidery.read(path).stitches``. Raises `UnreadableError`.

    Examples:
        >>> import restitch
        >>> pennant = restitch.read("fixtures/pennant.pes")
        >>> len(pennant.stitch_index), len(pennant.threads), pennant.format
        (2492, 5, 'pes')
    """
    from restitch.files import read_stream

    return read_stream(Path(path))


def infer(stream: Stream) -> tuple[SewnObject, ...]:
    """Return the objects of a stream in sewing order: satins, fills and runs with their parts.

    Parts index the stream's records, ``[start, stop)``.

    Examples:
        >>> import restitch
        >>> objects = restitch.infer(restitch.read("fixtures/pennant.pes"))
        >>> sorted({str(o.kind) for o in objects})
        ['fill', 'satin']
    """
    from restitch.infer import infer as infer_objects

    return infer_objects(stream)


def check(
    stream: Stream,
    *,
    fabric: str | None = None,
    profile: Profile | Path | str | None = None,
    objects: Sequence[SewnObject] | None = None,
) -> tuple[Finding, ...]:
    """Return what is wrong with a design: faults, then warnings, then notes, dearest first.

    ``fabric`` is a name of the table or an everyday word (twill when neither it nor a profile is
    given); ``profile`` is a `Profile` or the path of one. ``objects`` spares reading them again.
    Raises `UsageError`.

    Examples:
        >>> import restitch
        >>> found = restitch.check(restitch.read("fixtures/rope-badge.pes"), fabric="knit")
        >>> found[0].severity, found[0].fix
        ('fault', 'stack')
    """
    from restitch.check import check as find

    return find(stream, infer(stream) if objects is None else objects, _profile(fabric, profile))


def fix(
    stream: Stream,
    *,
    fabric: str | None = None,
    profile: Profile | Path | str | None = None,
    veto: Iterable[str] = (),
    format: str = "",
) -> Rescue:
    """Return the rescued design: ``result`` is its stream, ``changes`` say what was done and why.

    ``fabric`` and ``profile`` as in `check`. ``veto`` names changes to leave out by their ids, as
    an earlier ``fix`` of the same stream reported them. ``format`` is the extension it will be
    written in (default: the one it was read from). Where nothing has to change, ``sound`` is true
    and ``result`` is the stream itself. Raises `UsageError`, `WriteError` where the format cannot
    hold the design, and `RefusedError` where the result would cost the look.

    Examples:
        >>> import restitch
        >>> stream = restitch.read("fixtures/rope-badge.pes")
        >>> rescue = restitch.fix(stream, fabric="knit")
        >>> len(rescue.result.stitch_index) < 0.7 * len(stream.stitch_index)
        True
        >>> restitch.fix(restitch.read("fixtures/line-sampler.pes")).sound
        True
    """
    from restitch.pipeline import rescue
    from restitch.rescue_file import check_look

    chosen = _profile(fabric, profile)
    found = rescue(stream, chosen, frozenset(veto), format.lower().lstrip("."))
    check_look(found, stream.name or "design", chosen)
    return found


def write(stream: Stream, path: Path | str, *, replace: bool = False) -> tuple[str, ...]:
    """Write a stream in the format of the path's extension, whole or not at all.

    The bytes are read back and compared before they take their place. Returns what the format
    cannot carry, in plain words. Raises `WriteError`, also where the path exists and ``replace``
    is false; then nothing new remains.

    Examples:
        >>> import restitch, tempfile
        >>> stream = restitch.read("fixtures/pennant.pes")
        >>> with tempfile.TemporaryDirectory() as folder:
        ...     for lost in restitch.write(stream, f"{folder}/pennant.dst"):
        ...         print(lost)
        .dst stores no thread colours: keep the colour list with the file
    """
    from restitch.files import write_stream

    return write_stream(stream, Path(path), replace=replace)


def _profile(fabric: str | None, profile: Profile | Path | str | None) -> Profile:
    from restitch.fabrics import default_profile, load_profile

    if profile is None:
        return default_profile(fabric)
    if fabric is not None:
        raise UsageError("fabric and profile exclude each other: a profile names its fabric")
    return load_profile(profile) if isinstance(profile, Path | str) else profile

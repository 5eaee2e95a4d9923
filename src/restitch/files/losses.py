"""What a target format cannot carry of a stream, in plain words for the report."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from restitch.files.facts import Format
from restitch.files.names import plain_name, plain_thread
from restitch.files.records import LONGEST_SEWN, cut_ordinals
from restitch.model import UNITS_PER_MM, Command, Stream


def losses(stream: Stream, fmt: Format) -> tuple[str, ...]:
    """Return one sentence for each thing that the format drops, changes or states wrongly."""
    found = (*_colours(stream, fmt), *_names(stream, fmt), *_commands(stream, fmt))
    return (*found, *_sizes(stream, fmt))


def _colours(stream: Stream, fmt: Format) -> Iterator[str]:
    dot = f".{fmt.extension}"
    if not stream.colours_known:
        if fmt.colours != "none" and fmt.extension != stream.format:
            yield f".{stream.format} names no thread colours; {dot} is given placeholders"
        return
    if fmt.colours == "none":
        yield f"{dot} stores no thread colours: keep the colour list with the file"
    if fmt.colours == "palette" and fmt.extension != stream.format:
        yield f"{dot} stores the nearest colours of its own palette"
    if fmt.extension == "pec" and len({t.rgb for t in stream.threads}) > 64:
        yield f"{dot} knows 64 colours: some neighbours merge into stops"


def _names(stream: Stream, fmt: Format) -> Iterator[str]:
    dot = f".{fmt.extension}"
    if fmt.colours != "none" and not fmt.thread_names and stream.colours_known:
        if any(t.name or t.number for t in stream.threads) and fmt.extension != stream.format:
            yield f"{dot} stores no thread names"
    elif fmt.thread_names and any(plain_thread(t, fmt) != t for t in stream.threads):
        yield "thread names are written without accents, foreign letters and control characters"
    if plain_name(stream.name, fmt) != stream.name:
        kept = plain_name(stream.name, fmt)
        yield f'{dot} keeps "{kept}" of the name' if kept else f"{dot} stores no design name"


def _commands(stream: Stream, fmt: Format) -> Iterator[str]:
    dot = f".{fmt.extension}"
    stops = int((stream.command == Command.STOP).sum())
    if stops and fmt.stops == "change":
        yield f"{dot} stores {stops} stops as colour changes to the same thread"
    if stops and fmt.stops == "lost":
        yield f"{dot} cannot store {stops} stops: note them on the worksheet"
    if fmt.extension == "jef" and _second_stops(stream):
        yield f"{dot} stores every second stop in a colour as a change to the same thread"
    if fmt.same_thread_change == "stop" and _same_thread_changes(stream):
        yield f"{dot} stores a change between equal threads as a stop"
    if not fmt.sequins and (stream.command == Command.SEQUIN_EJECT).any():
        yield f"{dot} cannot store sequins"
    yield from _jumps(stream, fmt)
    if fmt.needles and fmt.extension != stream.format and len(stream.threads) > fmt.needles:
        yield f"{dot} has {fmt.needles} needles: later colours share them"


def _jumps(stream: Stream, fmt: Format) -> Iterator[str]:
    dot = f".{fmt.extension}"
    jumps = len(_untrimmed_jumps(stream))
    if not jumps or fmt.extension == stream.format:
        return
    if fmt.jump_is_trim:
        yield f"{dot} cuts the thread at {jumps} jumps that were not trimmed"
    if fmt.jump_sews:
        most = LONGEST_SEWN / UNITS_PER_MM
        yield f"{dot} has no jumps: of {jumps} without trim those over {most} mm are trimmed"
    if fmt.trims_over is not None:
        yield f"{dot} readers take jumps over {fmt.trims_over / UNITS_PER_MM:g} mm for trims"


def _untrimmed_jumps(stream: Stream) -> np.ndarray:
    """Stitches after which the needle jumps with the thread uncut."""
    jumps = cut_ordinals(stream.command, Command.JUMP)
    cut = (Command.TRIM, Command.COLOR_CHANGE, Command.NEEDLE_SET)
    return jumps[(jumps > 0) & ~np.isin(jumps, cut_ordinals(stream.command, *cut), kind="table")]


def _second_stops(stream: Stream) -> bool:
    stops = stream.block_of_record[stream.command == Command.STOP]
    return bool((np.bincount(stops) > 1).any())


def _same_thread_changes(stream: Stream) -> bool:
    return any(a == b for a, b in pairwise(stream.threads))


def _sizes(stream: Stream, fmt: Format) -> Iterator[str]:
    dot = f".{fmt.extension}"
    size_mm = float(np.ptp(stream.xy, axis=0).max()) / UNITS_PER_MM
    if fmt.hoop_mm is not None and size_mm > fmt.hoop_mm:
        yield f"{dot} states a smaller hoop than {size_mm:.0f} mm: choose it at the machine"
    if fmt.most_run is not None:
        breaks = np.flatnonzero(np.diff(stream.command == Command.STITCH, append=False))
        if np.diff(breaks, prepend=-1).max(initial=0) > fmt.most_run:
            yield (
                f"{dot}: a run of over {fmt.most_run:,} stitches overflows a count in the "
                "object part; the sewing part is right"
            )

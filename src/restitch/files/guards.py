"""Checks of raw bytes: signature and lengths before parsing, and where the stitches end after.

On 200 cut files of each format lengths and end marks found every one that had lost stitches (DST,
PES, PEC, JEF, U01, VP3, HUS). EXP and SEW have neither: their doubts become warnings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

MOST_BYTES = 64 << 20
"""Largest file read (1,000,000 stitches are about 6 MiB)."""

WITHOUT_END = ("exp", "sew")
"""Formats with neither an end mark nor a length."""

_MOST_HUS_STITCHES = 4_000_000
"""A HUS that claims more could not be unpacked within the time limit."""

_VP3_PATH = b"xxPP\x01\x00"
"""Stands before the colour blocks of a VP3 design."""

_SIGNATURES: Mapping[str, tuple[bytes, ...]] = {
    "pec": (b"#PEC0001",),
    "pes": (b"#PES", b"#PEC0001"),
    "vp3": (b"%vsm%",),
    "dst": (b"LA:",),
}
_OTHERS_CALLED_DST = ("tbf", "dsb", "dsz", "ksm", "tap")
"""Formats whose header may begin as that of a DST does."""


class Damaged(Exception):  # noqa: N818 - the answer to a damaged file, not a mistake of ours
    """What is wrong with the bytes, in a few words without the file's name."""


def check_before(data: bytes, extension: str) -> tuple[str, ...]:
    """Return warnings about bytes that are about to be parsed; raise `Damaged` where they cannot
    be a whole file of the format."""
    if not data:
        raise Damaged("is empty")
    if len(data) > MOST_BYTES:
        raise Damaged(f"is larger than {MOST_BYTES >> 20} MiB; not a stitch file")
    _check_signature(data, extension)
    check = _BEFORE.get(extension)
    return check(data) if check else ()


def check_after(data: bytes, extension: str, stopped: int, records: int) -> tuple[str, ...]:
    """Return warnings about where the reader took the stitches to end; raise `Damaged` where the
    file has no end there.

    ``stopped``: offset the reader had reached; ``records``: how many it returned.
    """
    check = _AFTER.get(extension)
    return check(data, stopped, records) if check else ()


def _check_signature(data: bytes, extension: str) -> None:
    own = _SIGNATURES.get(extension, ())
    if own and data.startswith(own):
        return
    for other, marks in _SIGNATURES.items():
        if other == "dst" and extension in _OTHERS_CALLED_DST:
            continue
        if other != extension and data.startswith(marks):
            raise Damaged(f"this is a {other.upper()} file named .{extension}")
    if own and extension != "dst":
        raise Damaged(f"does not begin as a {extension.upper()} file does")


def _header(kind: str, size: int) -> Callable[[bytes], tuple[str, ...]]:
    def check(data: bytes) -> tuple[str, ...]:
        if len(data) < size:
            raise Damaged(f"ends early (a {kind} header alone has {size} bytes)")
        return ()

    return check


def _before_pec(data: bytes) -> tuple[str, ...]:
    start = _pec_start(data)
    if len(data) < start + 532:
        raise Damaged("ends early (the stitch block is missing)")
    if _pec_stop(data) > len(data):
        raise Damaged("ends early (the stitch block is longer than the file)")
    return ()


def _pec_start(data: bytes) -> int:
    return 8 if data.startswith(b"#PEC") else int.from_bytes(data[8:12], "little")


def _pec_stop(data: bytes) -> int:
    """Offset past the stitch block, as its header states it."""
    start = _pec_start(data)
    return start + 512 + int.from_bytes(data[start + 514 : start + 517], "little")


def _before_jef(data: bytes) -> tuple[str, ...]:
    if not 116 <= int.from_bytes(data[:4], "little") < len(data):
        raise Damaged("ends early (the stitches would begin past the end)")
    return ()


def _before_vp3(data: bytes) -> tuple[str, ...]:
    at = data.find(b"\x00\x02\x00")
    if at < 0:
        raise Damaged("has no design section")
    if at + 7 + int.from_bytes(data[at + 3 : at + 7], "big") > len(data):
        raise Damaged("ends early (the design section is longer than the file)")
    _walk_vp3_blocks(data)
    return ()


def _walk_vp3_blocks(data: bytes) -> None:
    """Follow the colour blocks by their lengths: each must begin with 00 05 00."""
    mark = data.find(_VP3_PATH)
    if mark < 0:
        raise Damaged("has no colour blocks")
    at = mark + len(_VP3_PATH)
    at += 2 + int.from_bytes(data[at : at + 2], "big")
    count = int.from_bytes(data[at : at + 2], "big")
    at += 2
    for block in range(count):
        if data[at : at + 3] != b"\x00\x05\x00":
            raise Damaged(f"colour block {block + 1} is damaged")
        at += 7 + int.from_bytes(data[at + 3 : at + 7], "big")
    if at > len(data):
        raise Damaged("ends early (the last colour block is cut off)")


def _before_hus(data: bytes) -> tuple[str, ...]:
    if len(data) < 42:
        raise Damaged("ends early (a HUS header alone has 42 bytes)")
    stitches, colours = (int.from_bytes(data[k : k + 4], "little") for k in (4, 8))
    if 42 + 2 * colours > len(data):
        raise Damaged(f"claims {colours:,} colours, more than it has bytes for")
    if stitches > _MOST_HUS_STITCHES:
        raise Damaged(f"claims {stitches:,} stitches")
    commands, x, y = (int.from_bytes(data[k : k + 4], "little") for k in (20, 24, 28))
    if not commands <= x <= y < len(data):
        raise Damaged("ends early (a section of stitches is missing)")
    return ()


def _before_shv(data: bytes) -> tuple[str, ...]:
    """The header states how many units of two bytes each colour has."""
    at = 0x56 + 1 + data[0x56] if len(data) > 0x56 else len(data)
    if at + 2 > len(data):
        raise Damaged("ends early (header cut off)")
    at += 2 + -(-data[at + 1] // 2) * data[at] + 4
    colours = data[at] if at < len(data) else 0
    table = at + 19
    stitches = table + 14 * colours - 2
    if not colours or stitches > len(data):
        raise Damaged("ends early (the table of colours is cut off)")
    rows = (table + 14 * k for k in range(colours))
    units = sum(int.from_bytes(data[r : r + 4], "big") for r in rows)
    short = stitches + 2 * units - len(data)
    if short > 2:
        raise Damaged(f"ends early (the header counts {units:,} stitches)")
    return ("the last stitch of the header's count is missing",) if short > 0 else ()


def _after_dst(data: bytes, stopped: int, records: int) -> tuple[str, ...]:
    raw = (stopped - 512) // 3
    if stopped < 515 or data[stopped - 1] & 0xF3 != 0xF3:
        raise Damaged(f"ends early (no end record after {raw:,} stitches)")
    at = data[:512].find(b"ST:")
    digits = data[at + 3 : at + 10].strip() if at >= 0 else b""
    count = int(digits) if digits.isdigit() else raw
    # Some writers count a trim, stored as three records, as one.
    if raw - 1 <= count <= raw + 1 or (count < raw <= 3 * count):
        return ()
    return (f"the header counts {count:,} records, the file holds {raw:,}",)


def _after_pec(data: bytes, stopped: int, records: int) -> tuple[str, ...]:
    stop = _pec_stop(data)
    if stopped < stop - 2:
        raise Damaged(f"ends early (end mark {stop - stopped:,} bytes before the block's end)")
    if stopped > stop + 2:
        raise Damaged("has no end mark where its stitch block ends")
    return ()


def _after_jef(data: bytes, stopped: int, records: int) -> tuple[str, ...]:
    if b"\x80\x10" not in data[max(0, stopped - 4) : stopped]:
        raise Damaged(f"ends early (no end record after {records:,} stitches)")
    return ()


def _after_u01(data: bytes, stopped: int, records: int) -> tuple[str, ...]:
    if stopped < 259 or data[stopped - 3] & 0x1F != 0x18:
        raise Damaged(f"ends early (no end record after {records:,} stitches)")
    return ()


def _after_tbf(data: bytes, stopped: int, records: int) -> tuple[str, ...]:
    if stopped < 0x603 or data[stopped - 1] != 0x8F:
        raise Damaged(f"ends early (no end record after {records:,} stitches)")
    return ()


def _after_xxx(data: bytes, stopped: int, records: int) -> tuple[str, ...]:
    stated = int.from_bytes(data[0xFC:0x100], "little")
    if stopped < stated <= len(data):
        raise Damaged(f"ends early (end mark {stated - stopped:,} bytes before the stated end)")
    return ()


def _after_hus(data: bytes, stopped: int, records: int) -> tuple[str, ...]:
    count = int.from_bytes(data[4:8], "little")
    if records < count:
        raise Damaged(f"ends early ({records:,} of {count:,} stitches)")
    return ()


def _after_endless(data: bytes, stopped: int, records: int) -> tuple[str, ...]:
    """EXP and SEW have no end mark: the end of the file, or a code the reader does not know."""
    if stopped < len(data):
        left = len(data) - stopped
        return (f"an unknown code ends the stitches {left:,} bytes before the file ends",)
    if data[-2:-1] == b"\x80" or len(data) % 2:
        return ("the last record is incomplete; the file may end early",)
    return ()


_BEFORE: Mapping[str, Callable[[bytes], tuple[str, ...]]] = {
    "dst": _header("DST", 515),
    "pes": _before_pec,
    "pec": _before_pec,
    "jef": _before_jef,
    "u01": _header("U01", 259),
    "vp3": _before_vp3,
    "hus": _before_hus,
    "shv": _before_shv,
    "xxx": _header("XXX", 260),
    "tbf": _header("TBF", 0x603),
}
_AFTER: Mapping[str, Callable[[bytes, int, int], tuple[str, ...]]] = {
    "dst": _after_dst,
    "pes": _after_pec,
    "pec": _after_pec,
    "jef": _after_jef,
    "u01": _after_u01,
    "tbf": _after_tbf,
    "xxx": _after_xxx,
    "hus": _after_hus,
    **dict.fromkeys(WITHOUT_END, _after_endless),
}

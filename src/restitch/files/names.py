"""Names in letters that every format survives."""

from __future__ import annotations

import unicodedata

from restitch.files.facts import Format
from restitch.model import Thread

_SPELT_OUT = str.maketrans(
    {"ß": "ss", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L"}
)
"""Letters that do not come apart into a plain one and an accent."""

_MOST_THREAD_LETTERS = 255
"""A PES thread field has one byte for its length."""


def plain_text(text: str, fmt: Format) -> str:
    """Return text as a format can hold it: no control characters, no letters that destroy it."""
    if fmt.ascii_only:
        spelt = unicodedata.normalize("NFKD", text.translate(_SPELT_OUT))
        bare = "".join(c for c in spelt if not unicodedata.combining(c))
        text = bare.encode("ascii", "replace").decode()
    if fmt.extension == "csv":
        text = text.replace('"', "'")  # its writer does not escape quotes
    return "".join(c for c in text if c.isprintable()).strip()


def plain_name(text: str, fmt: Format) -> str:
    """Return a design name as a format holds it; longer ones corrupt DST and TBF headers."""
    return plain_text(text, fmt)[: fmt.name_letters].strip()


def plain_thread(thread: Thread, fmt: Format) -> Thread:
    """Return the thread with words that the format survives."""
    words = (thread.name, thread.number, thread.brand)
    kept = (plain_text(w, fmt)[:_MOST_THREAD_LETTERS].strip() for w in words)
    return Thread(thread.rgb & 0xFFFFFF, *kept)

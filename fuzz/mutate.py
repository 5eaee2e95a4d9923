"""Ways in which files get damaged, on the wire, on a disk or on purpose."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence

NUMBERS = (b"nan", b"inf", b"1e308", b"-1e12", b"", b"east", b"null", b"99999999999", b"0.4")
WORDS = (b"MATRIX_SCALE", b"OPTION_MAX_STITCH_LENGTH", b"TIE_ON", b"SEWS", b"NO_COMMAND", b"END")
FIELDS = (b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f", b"\x00\x00\x00\x80", b"\0\0\0\0", b"\x01\0\0\0")


def cut(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """The file ends early."""
    return data[: chance.randrange(len(data))]


def flip(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """A few bits are turned."""
    result = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 8, 64))):
        result[chance.randrange(len(result))] ^= 1 << chance.randrange(8)
    return bytes(result)


def zero(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """A stretch is empty, as after a lost disk block."""
    start = chance.randrange(len(data))
    size = chance.choice((4, 64, 512))
    return data[:start] + bytes(min(size, len(data) - start)) + data[start + size :]


def noise(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """A stretch is random."""
    start = chance.randrange(len(data))
    size = min(chance.choice((2, 16, 256)), len(data) - start)
    return data[:start] + chance.randbytes(size) + data[start + size :]


def slip(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """Bytes are doubled or dropped."""
    start = chance.randrange(len(data))
    size = chance.choice((1, 2, 3, 40))
    part = data[start : start + size]
    return data[:start] + part * chance.choice((0, 2, 9)) + data[start + size :]


def extreme(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """A number, most often one of the header, takes an extreme value."""
    reach = len(data) if chance.random() < 0.3 else min(len(data), 640)
    at = chance.randrange(reach)
    field = chance.choice(FIELDS)[: chance.choice((1, 2, 4))]
    return data[:at] + field + data[at + len(field) :]


def splice(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """The end of another file, or the whole of it, stands here."""
    other = chance.choice(others)
    if chance.random() < 0.3:
        return other
    return data[: chance.randrange(len(data))] + other[chance.randrange(len(other)) :]


def reword(data: bytes, chance: random.Random, others: Sequence[bytes]) -> bytes:
    """A number or a word of a text file is another."""
    numeric = chance.random() < 0.7
    places = list(re.finditer(rb"-?\d+" if numeric else rb"[A-Z_]{3,}", data))
    if not places:
        return flip(data, chance, others)
    place = chance.choice(places)
    return (
        data[: place.start()] + chance.choice(NUMBERS if numeric else WORDS) + data[place.end() :]
    )


Mutation = Callable[[bytes, random.Random, Sequence[bytes]], bytes]

MUTATIONS: tuple[Mutation, ...] = (cut, flip, zero, noise, slip, extreme, splice)
TEXT_MUTATIONS: tuple[Mutation, ...] = (*MUTATIONS, reword, reword, reword)


def mutants(
    files: Sequence[bytes], others: Sequence[bytes], count: int, seed: str, text: bool
) -> list[tuple[str, bytes, bytes]]:
    """Return (kind of damage, the sound file, the damaged one), the same for the same seed."""
    chance = random.Random(seed)
    ways = TEXT_MUTATIONS if text else MUTATIONS
    found = []
    for _ in range(count):
        way, data = chance.choice(ways), chance.choice(files)
        found.append((way.__name__, data, way(data, chance, others)))
    return found

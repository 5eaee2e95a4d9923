"""Reading and writing stitch files: safe reading, exact writing, whole files or none."""

from restitch.files.encode import Encoded, difference, encode
from restitch.files.facts import FORMATS, Format, facts
from restitch.files.foresee import round_trip
from restitch.files.process import ReaderProcess, ReadLimits
from restitch.files.read import (
    decode,
    digest,
    extension_of,
    read_bytes,
    read_stream,
    readable_extensions,
    unchanged,
)
from restitch.files.write import (
    check_target,
    clear_leftovers,
    make_folder,
    staged,
    write_bytes,
    write_stream,
)

__all__ = [
    "FORMATS",
    "Encoded",
    "Format",
    "ReadLimits",
    "ReaderProcess",
    "check_target",
    "clear_leftovers",
    "decode",
    "difference",
    "digest",
    "encode",
    "extension_of",
    "facts",
    "make_folder",
    "read_bytes",
    "read_stream",
    "readable_extensions",
    "round_trip",
    "staged",
    "unchanged",
    "write_bytes",
    "write_stream",
]

"""Reading and writing stitch files: safe reading, exact writing, whole files or none."""

from restitch.files.encode import Encoded, encode, round_trip
from restitch.files.facts import FORMATS, Format, facts
from restitch.files.read import decode, digest, read_stream, readable_extensions
from restitch.files.write import check_target, write_bytes

__all__ = [
    "FORMATS",
    "Encoded",
    "Format",
    "check_target",
    "decode",
    "digest",
    "encode",
    "facts",
    "read_stream",
    "readable_extensions",
    "round_trip",
    "write_bytes",
]

"""Fabrics and profiles: what stitching must be on the cloth at hand, and who says so."""

from restitch.fabrics.decisions import load_decisions
from restitch.fabrics.describe import Row, cited, describe, describe_fabric
from restitch.fabrics.profiles import default_profile, load_profile
from restitch.fabrics.table import fabric, fabric_note, fabrics, sources
from restitch.fabrics.threads import ListedThread, load_threads, threads_of_needles, with_threads

__all__ = [
    "ListedThread",
    "Row",
    "cited",
    "default_profile",
    "describe",
    "describe_fabric",
    "fabric",
    "fabric_note",
    "fabrics",
    "load_decisions",
    "load_profile",
    "load_threads",
    "sources",
    "threads_of_needles",
    "with_threads",
]

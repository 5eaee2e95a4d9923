"""Reading objects out of a flat stitch stream."""

from restitch.infer.read_objects import infer
from restitch.infer.settings import Settings

__all__ = ["Settings", "infer"]

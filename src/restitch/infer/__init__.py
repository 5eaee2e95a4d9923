"""Reading objects out of a flat stitch stream."""

from restitch.infer.figures import ObjectFigures, figures, inspect_document
from restitch.infer.read_objects import infer
from restitch.infer.settings import Settings

__all__ = ["ObjectFigures", "Settings", "figures", "infer", "inspect_document"]

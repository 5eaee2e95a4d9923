"""Reading objects out of a flat stitch stream."""

from restitch.infer.document import inspect_document
from restitch.infer.figures import ObjectFigures, figures
from restitch.infer.read_objects import infer
from restitch.infer.settings import Settings
from restitch.infer.shape import Shape, shape_of
from restitch.infer.underlay_kinds import Underlay

__all__ = [
    "ObjectFigures",
    "Settings",
    "Shape",
    "Underlay",
    "figures",
    "infer",
    "inspect_document",
    "shape_of",
]

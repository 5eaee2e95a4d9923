"""Rescue machine embroidery stitch files."""

__version__ = "0.1.0"

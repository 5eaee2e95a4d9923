"""Puts this folder on the path: every test may use the builders of `stitched`."""

"""Laying stitches: satin between rails, fill rows, underlay, ties, ways under the cover."""

"""Rows of text in columns."""

from __future__ import annotations

from collections.abc import Collection, Sequence

GAP = "  "


def columns(rows: Sequence[Sequence[str]], to_the_right: Collection[int] = ()) -> list[str]:
    """Return one line a row; columns are as wide as their widest cell, some right aligned."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        GAP.join(
            cell.rjust(width) if place in to_the_right else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]

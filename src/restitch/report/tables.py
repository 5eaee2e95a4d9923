"""Tables of fabrics and profiles for the terminal."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console
from rich.table import Table

from restitch.fabrics import cited, describe_fabric
from restitch.fabrics.describe import Row
from restitch.fabrics.model import Fabric


def print_fabrics(fabrics: Iterable[Fabric], console: Console) -> None:
    """Write the fabric table, one line a fabric."""
    table = Table(box=None, pad_edge=False)
    headings = ("fabric", "fill mm", "satin mm", "layers", "speed/min", "needle", "words")
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for f in fabrics:
        table.add_row(
            f.name,
            f"{f.fill_spacing_mm:.2f}",
            f"{f.satin_spacing_mm:.2f}",
            f"{f.layers:g}",
            f"{f.speed_spm:.0f}",
            f.needle,
            ", ".join(f.words),
        )
    console.print(table)
    console.print("spacing: the two-line pitch. One fabric with its sources: restitch fabrics NAME")


def print_fabric(fabric: Fabric, note: str, console: Console) -> None:
    """Write every number of one fabric with its source."""
    rows = describe_fabric(fabric)
    console.print(f"{fabric.title} ({note})", style="bold", highlight=False)
    console.print(_rows(rows))
    _print_cited(rows, console)


def print_profile(name: str, note: str, rows: tuple[Row, ...], console: Console) -> None:
    """Write every number in force with its source."""
    console.print(f"{name} ({note})", style="bold", highlight=False)
    console.print(_rows(rows))
    _print_cited(rows, console)


def _rows(rows: Iterable[Row]) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("key", "value", "unit", "source"):
        table.add_column(heading, overflow="fold")
    for row in rows:
        table.add_row(row.key, row.value, row.unit, row.source)
    return table


def _print_cited(rows: Iterable[Row], console: Console) -> None:
    for key, words in cited(rows):
        console.print(f"  {key}: {words}", highlight=False, markup=False, style="dim")

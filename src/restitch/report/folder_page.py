"""One page over a whole folder, and a page for each of its files."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from restitch.report.templates import page_text, rendered
from restitch.rescue_file import Outcomes, Settings, rescue_file

if TYPE_CHECKING:
    from restitch.files import ReaderProcess
    from restitch.folder import Summary


@dataclass(frozen=True, slots=True)
class PageMaker:
    """Rescues a file and writes its page; can be sent to another process."""

    root: Path
    """Source folder."""
    report: Path
    """The folder's page; the pages of its files lie in a folder beside it."""

    @property
    def folder(self) -> Path:
        """Where the pages of the files go."""
        return self.report.with_name(self.report.stem + "-pages")

    def page_path(self, place: str) -> Path:
        """Path of the page of a file, by its place in the source folder."""
        return self.folder / f"{place}.html"

    def clear(self) -> None:
        """Remove unfinished pages of workers that were ended."""
        from restitch.files import clear_leftovers

        for folder in (self.folder, *self.folder.rglob("*/")):
            clear_leftovers(folder)

    def __call__(
        self,
        source: Path,
        target: Path,
        settings: Settings,
        *,
        dry_run: bool = False,
        reader: ReaderProcess | None = None,
    ) -> Outcomes:
        """As `rescue_file`, and write the page: both or neither."""
        page = self.page_path(source.relative_to(self.root).as_posix())
        return rescue_file(
            source,
            target,
            settings,
            dry_run=dry_run,
            reader=reader,
            beside=partial(_page_in_its_folder, page),
        )


@contextmanager
def _page_in_its_folder(page: Path, found: Outcomes) -> Iterator[None]:
    from restitch.files import make_folder
    from restitch.report.page import staged_page

    make_folder(page.parent)
    with staged_page(found, page, replace=True):
        yield


def write_folder_page(
    summary: Summary, source: Path, pages: PageMaker, path: Path, *, replace: bool = False
) -> None:
    """Write the page over all files: failures first, then by what was saved."""
    from restitch.files import write_bytes

    write_bytes(folder_page(summary, source, pages).encode("utf-8"), path, replace=replace)


def folder_page(summary: Summary, source: Path, pages: PageMaker) -> str:
    """Return the page over all files as HTML; paths and reasons are escaped."""
    from markupsafe import Markup

    ordered = sorted(
        summary.results, key=lambda r: (not r.failed, -r.saved.get("stitches", 0.0), r.path)
    )
    rows = [
        {
            "path": r.path,
            "link": _link(pages, r.path),
            "outcome": r.outcome,
            "reason": r.reason,
            "changes": r.changes,
            "saved": {key: r.saved.get(key, 0.0) for key in COLUMNS},
        }
        for r in ordered
    ]
    return rendered(
        "folder.html.j2",
        title=source.name or str(source),
        counts=summary.counts,
        totals={key: summary.saved.get(key, 0.0) for key in COLUMNS},
        columns=COLUMNS,
        rows=rows,
        css=Markup(page_text("page.css")),
        js=Markup(page_text("folder.js")),
    )


COLUMNS = {
    "stitches": "stitches saved",
    "trims": "trims saved",
    "colour_changes": "colour changes saved",
    "minutes": "minutes saved",
}
"""Savings shown for each file, and their headings."""


def _link(pages: PageMaker, place: str) -> str:
    """Relative link to a file's page, empty where there is none."""
    page = pages.page_path(place)
    return quote(f"{pages.folder.name}/{place}.html") if page.exists() else ""

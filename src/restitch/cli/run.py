"""What the commands do: one library call, print.

Each loads what it needs itself: what one command needs costs the others their start.
"""

from __future__ import annotations

import sys
from contextlib import AbstractContextManager, nullcontext
from functools import partial
from os.path import isdir
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from restitch.cli.ahead import Look, look_at
from restitch.cli.json_text import print_json
from restitch.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from restitch.rescue_file import Outcomes, Settings

_bold = partial(typer.style, bold=True)
"""`typer.echo` takes the marks out again where it writes to no terminal."""


def fix_file(
    source: Path,
    target: Path,
    settings: Settings,
    ahead: Look | None,
    *,
    dry_run: bool,
    json: bool,
    report: Path | None,
) -> None:
    """Rescue one file and print its report. ``ahead``: a file that is being looked at already."""
    with _look_at(source, ahead) as look:
        look.settings.tell(settings)
        from restitch.rescue_file import rescue_file

        beside = None
        if report is not None and not dry_run:
            check_page(report, source, target, settings)
            beside = partial(_page_beside, report, settings)
        found = rescue_file(
            source,
            target,
            settings,
            dry_run=dry_run,
            beside=beside,
            look=look.answers,
            aside=look.aside,
        )
    _tell(found, json=json)


def _look_at(source: Path, ahead: Look | None) -> AbstractContextManager[Look]:
    """What is ahead, where it is this file; else the file looked at now."""
    if ahead is not None and ahead.source == source:
        return nullcontext(ahead)
    return look_at(source)


def check_page(page: Path, source: Path, target: Path, settings: Settings) -> None:
    """Raise unless a page may be written beside source and target."""
    from restitch.files import check_target

    if page.resolve() == target.resolve():
        raise UsageError(f"--report: {page} is the new file itself; name another")
    if isdir(source) and source.resolve() in page.resolve().parents:
        raise UsageError(f"--report: {page} lies inside the source folder; choose a place outside")
    check_target(page, source=source, replace=settings.replace)


def _page_beside(page: Path, settings: Settings, found: Outcomes) -> AbstractContextManager[None]:
    from restitch.report.page import staged_page

    return staged_page(found, page, replace=settings.replace)


def compare_files(
    first: Path, second: Path, settings: Settings, *, json: bool, report: Path | None
) -> None:
    """Compare two files and print the difference."""
    from restitch.rescue_file import compare_files as compare

    found = compare(first, second, settings)
    if report is not None:
        from restitch.report.page import write_page

        write_page(found, report, replace=settings.replace)
    _tell(found, json=json)


def _tell(found: Outcomes, *, json: bool) -> None:
    if json:
        from restitch.report.document import document_of

        print_json(document_of(found.report))
        return
    from restitch.report.text import report_text

    typer.echo(report_text(found.report, _bold))


def check_file(source: Path, settings: Settings, ahead: Look | None, *, json: bool) -> None:
    """Print the findings of one file; exit 1 when any is over the limits. ``ahead``: a file that
    is being looked at already."""
    with _look_at(source, ahead) as look:
        from restitch.check import check, finders, over_limits
        from restitch.report.model import SCHEMA

        finders()  # loads the rooms of the findings
        _, stream, objects = next(look.answers)
    findings = check(stream, objects, settings.profile)
    if json:
        from restitch.report.document import finding_document

        print_json(
            {
                "schema": SCHEMA,
                "source": str(source),
                "fabric": settings.profile.fabric.name,
                "over_limits": over_limits(findings),
                "findings": [finding_document(f) for f in findings],
                "warnings": list(stream.warnings),
            }
        )
    else:
        from restitch.report.text import check_text

        typer.echo(check_text(source, settings.fabric_note, findings, stream.warnings, _bold))
    if over_limits(findings):
        sys.exit(int(ExitCode.FINDINGS))


def inspect_file(source: Path, *, json: bool) -> None:
    """Print the objects of one file."""
    from restitch.files import read_stream
    from restitch.infer import infer
    from restitch.infer.document import inspect_document

    stream = read_stream(source)
    objects = infer(stream)
    if json:
        print_json(inspect_document(stream, objects))
        return
    from restitch.report.objects import objects_text

    print(objects_text(source, stream, objects))


def draw_file(source: Path, picture: Path, view: str, settings: Settings, *, replace: bool) -> None:
    """Draw one view of a file."""
    from restitch.draw import VIEWS, draw
    from restitch.fabrics.toml_text import nearest
    from restitch.files import check_target, read_stream

    if view not in VIEWS:
        raise UsageError(f"--as: no view called {view!r}; nearest: {nearest(view, VIEWS)}")
    if picture.suffix.lower() not in (".png", ".svg"):
        raise UsageError(f"{picture}: name a .png or .svg picture")
    check_target(picture, source=source, replace=replace)
    draw(read_stream(source), picture, view, layers=settings.profile.layers)


def show_fabrics(name: str | None, *, json: bool) -> None:
    """Print the fabric table, or one fabric with sources."""
    from restitch.fabrics import fabric, fabric_note, fabrics
    from restitch.report.document import plain
    from restitch.report.model import SCHEMA
    from restitch.report.tables import print_fabric, print_fabrics

    if json:
        rows = fabrics() if name is None else (fabric(name),)
        print_json({"schema": SCHEMA, "fabrics": [plain(f) for f in rows]})
    elif name is None:
        print_fabrics(fabrics(), _console())
    else:
        print_fabric(fabric(name), fabric_note(name), _console())


def show_profile(file: Path | None, fabric: str | None, *, json: bool) -> None:
    """Print the numbers in force."""
    from restitch.cli.settings import settings_from
    from restitch.fabrics import describe
    from restitch.report.document import plain
    from restitch.report.model import SCHEMA
    from restitch.report.tables import print_profile

    settings = settings_from(fabric, file)
    rows = describe(settings.profile)
    if json:
        print_json({"schema": SCHEMA, "profile": settings.profile.name, "rows": plain(rows)})
    else:
        print_profile(settings.profile.name, settings.fabric_note, rows, _console())


def _console() -> Console:
    from rich.console import Console

    width = None if sys.stdout.isatty() else 100
    return Console(width=width, soft_wrap=True)

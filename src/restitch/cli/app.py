"""All commands and their options; each parses, calls the library and prints.

Heavy modules are imported inside the commands, so that help and version start at once.
"""

from __future__ import annotations

from os.path import isdir
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from restitch.rescue_file import Settings

EXIT_CODES = (
    "Exit codes: 0 done; 1 findings over the limits, or files of a folder failed; 2 wrong usage; "
    "3 source unreadable or not a stitch file; 4 output could not be written; "
    "5 refused by the look guard."
)

app = typer.Typer(
    name="restitch",
    help="Rescue machine embroidery stitch files: see what is wrong, fix it, keep the artwork.",
    epilog=EXIT_CODES,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Source = Annotated[Path, typer.Argument(metavar="SRC", help="Stitch file (or folder, for fix).")]
Json = Annotated[bool, typer.Option("--json", help="Write the result as JSON to standard output.")]
Fabric = Annotated[
    str | None,
    typer.Option(help="Fabric the design is sewn on: a name of the table or an everyday word."),
]
ProfileFile = Annotated[
    Path | None, typer.Option("--profile", help="Fix profile of the shop (TOML).")
]
Report = Annotated[
    Path | None, typer.Option("--report", help="Write a page with pictures (HTML) to this path.")
]
Only = Annotated[str | None, typer.Option(help="Run only these fixes, comma separated.")]
Skip = Annotated[str | None, typer.Option(help="Leave these fixes out, comma separated.")]
Decisions = Annotated[
    Path | None, typer.Option(help="Decisions file (TOML): changes to accept or veto, by id.")
]
Threads = Annotated[
    Path | None,
    typer.Option(help="Thread list, one a line: needle or block, name, RGB or catalogue number."),
]
Pull = Annotated[
    str | None,
    typer.Option(help="Compensate for pull: 'fabric' for its share, or millimetres to add."),
]


def _version(asked: bool) -> None:
    if asked:
        from restitch import __version__

        typer.echo(f"restitch {__version__}")
        raise typer.Exit


def _settings(*options: Any, **more: Any) -> Settings:
    from restitch.cli.settings import settings_from

    return settings_from(*options, **more)


@app.callback()
def top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Rescue machine embroidery stitch files: see what is wrong, fix it, keep the artwork."""


@app.command(epilog=EXIT_CODES)
def fix(
    ctx: typer.Context,
    source: Source,
    target: Annotated[Path, typer.Argument(metavar="DST", help="New file (or folder).")],
    fabric: Fabric = None,
    profile: ProfileFile = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Preview the savings; write nothing at all.")
    ] = False,
    report: Report = None,
    json: Json = False,
    only: Only = None,
    skip: Skip = None,
    decisions: Decisions = None,
    threads: Threads = None,
    pull: Pull = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Allow an existing DST to be replaced.")
    ] = False,
    workers: Annotated[int, typer.Option(min=1, help="Processes for a folder.")] = 1,
    include: Annotated[
        list[str] | None, typer.Option(help="Folder: only files matching this pattern.")
    ] = None,
    exclude: Annotated[
        list[str] | None, typer.Option(help="Folder: leave out files matching this pattern.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(help="Folder: address of a Dask scheduler (tcp://...).")
    ] = None,
) -> None:
    """Rescue SRC into the new file DST; SRC is never changed."""
    settings = _settings(fabric, profile, only, skip, decisions, threads, pull, replace=replace)
    if isdir(source):
        from restitch.cli import folder_run

        folder_run.run_folder(
            source,
            target,
            settings,
            dry_run=dry_run,
            json=json,
            report=report,
            workers=workers,
            include=tuple(include or ()),
            exclude=tuple(exclude or ()),
            cluster=cluster,
        )
    else:
        from restitch.cli import run

        run.fix_file(source, target, settings, ctx.obj, dry_run=dry_run, json=json, report=report)


@app.command(epilog=EXIT_CODES)
def watch(
    source: Annotated[Path, typer.Argument(metavar="SRC_DIR", help="Drop folder.")],
    target: Annotated[Path, typer.Argument(metavar="DST_DIR", help="Folder for the results.")],
    fabric: Fabric = None,
    profile: ProfileFile = None,
    only: Only = None,
    skip: Skip = None,
    threads: Threads = None,
    pull: Pull = None,
    workers: Annotated[int, typer.Option(min=1, help="Processes.")] = 1,
    include: Annotated[list[str] | None, typer.Option(help="Only files like this.")] = None,
    exclude: Annotated[list[str] | None, typer.Option(help="No files like this.")] = None,
    poll: Annotated[float, typer.Option(min=0.1, help="Seconds between two looks.")] = 2.0,
) -> None:
    """Rescue files as they arrive in SRC_DIR; nothing there is moved or changed."""
    from restitch.cli import folder_run

    folder_run.run_watch(
        source,
        target,
        _settings(fabric, profile, only, skip, None, threads, pull),
        workers=workers,
        include=tuple(include or ()),
        exclude=tuple(exclude or ()),
        poll_seconds=poll,
    )


@app.command(epilog=EXIT_CODES)
def check(
    ctx: typer.Context,
    source: Source,
    fabric: Fabric = None,
    profile: ProfileFile = None,
    json: Json = False,
) -> None:
    """Say what is wrong with SRC, worst first; exit 1 if anything is over the limits."""
    from restitch.cli import run

    run.check_file(source, _settings(fabric, profile), ctx.obj, json=json)


@app.command(epilog=EXIT_CODES)
def inspect(source: Source, json: Json = False) -> None:
    """List the objects found in SRC: satins, fills, runs, their underlay and surplus."""
    from restitch.cli import run

    run.inspect_file(source, json=json)


@app.command(epilog=EXIT_CODES)
def compare(
    first: Annotated[Path, typer.Argument(metavar="A")],
    second: Annotated[Path, typer.Argument(metavar="B")],
    fabric: Fabric = None,
    profile: ProfileFile = None,
    report: Report = None,
    json: Json = False,
) -> None:
    """Report how B differs from A, in the terms of a fix report."""
    from restitch.cli import run

    run.compare_files(first, second, _settings(fabric, profile), json=json, report=report)


@app.command(epilog=EXIT_CODES)
def draw(
    source: Source,
    picture: Annotated[Path, typer.Argument(metavar="PICTURE", help="PNG or SVG to write.")],
    view: Annotated[
        str, typer.Option("--as", help="What to draw: look, stack, objects or order.")
    ] = "look",
    fabric: Fabric = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Allow an existing PICTURE to be replaced.")
    ] = False,
) -> None:
    """Draw SRC as thread, as stack height, as objects or as sewing order."""
    from restitch.cli import run

    run.draw_file(source, picture, view, _settings(fabric), replace=replace)


@app.command(epilog=EXIT_CODES)
def fabrics(
    name: Annotated[str | None, typer.Argument(help="One fabric, by name or word.")] = None,
    json: Json = False,
) -> None:
    """Show the fabric table, or one fabric with the source of every number."""
    from restitch.cli import run

    run.show_fabrics(name, json=json)


@app.command(epilog=EXIT_CODES)
def profiles(
    file: Annotated[Path | None, typer.Argument(help="Profile (TOML).")] = None,
    fabric: Fabric = None,
    json: Json = False,
) -> None:
    """Show the numbers in force for a profile (or a fabric), each with its source."""
    from restitch.cli import run

    run.show_profile(file, fabric, json=json)

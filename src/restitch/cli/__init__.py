"""The command line: thin commands over the library."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; expected failures become one line and their exit code."""
    from restitch.cli.app import app
    from restitch.errors import RestitchError

    try:
        app()
    except RestitchError as error:
        print(f"restitch: {error}", file=sys.stderr)
        sys.exit(int(error.exit_code))
    except KeyboardInterrupt:
        print("restitch: stopped", file=sys.stderr)
        sys.exit(130)

"""The command line: thin commands over the library."""

from __future__ import annotations

import gc
import os
import sys

RARELY = 500_000
"""New objects between two searches for cycles: loading code and reading stitches make hundreds
of thousands of objects that stay, and next to no cycles."""


def main() -> None:
    """Run the command line; expected failures become one line and their exit code."""
    gc.set_threshold(RARELY)
    # numpy would start a thread a core for products of matrices; none here is large enough
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
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
    finally:
        gc.freeze()  # the end of the process would search all that is left for cycles

"""Errors a user can meet, each with the exit code of the command line."""

from enum import IntEnum


class ExitCode(IntEnum):
    """Exit codes of every command; part of the contract with scripts."""

    DONE = 0
    FINDINGS = 1
    """Findings over the limits (check), or some files of a folder failed."""
    USAGE = 2
    UNREADABLE = 3
    """The source is missing, damaged or not a stitch file."""
    NOT_WRITTEN = 4
    """The output could not be written; nothing new remains."""
    REFUSED = 5
    """The guard refused the fix; nothing was written."""


class RestitchError(Exception):
    """Root of all expected failures: one line that names the file, the reason and what to do."""

    exit_code = ExitCode.USAGE


class UsageError(RestitchError):
    """A wrong option, profile or decisions file."""

    exit_code = ExitCode.USAGE


class UnreadableError(RestitchError):
    """The source cannot be read as a stitch file."""

    exit_code = ExitCode.UNREADABLE


class WriteError(RestitchError):
    """The output could not be written or did not read back equal."""

    exit_code = ExitCode.NOT_WRITTEN


class RefusedError(RestitchError):
    """The result would have cost the look, so it was not written."""

    exit_code = ExitCode.REFUSED

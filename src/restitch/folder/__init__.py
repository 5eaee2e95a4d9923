"""Many files: a folder rescued whole, resumed after any kill, or watched as files arrive."""

from restitch.folder.jobs import Job, find_jobs
from restitch.folder.journal import JOURNAL_NAME, Journal
from restitch.folder.results import FileResult, Summary
from restitch.folder.run import fix_folder
from restitch.folder.watch import watch

__all__ = [
    "JOURNAL_NAME",
    "FileResult",
    "Job",
    "Journal",
    "Summary",
    "find_jobs",
    "fix_folder",
    "watch",
]

"""Many files: a folder rescued whole, resumed after any kill, or watched as files arrive."""

from restitch.folder.jobs import Job, find_jobs
from restitch.folder.journal import JOURNAL_NAME, Journal
from restitch.folder.results import FileResult, Summary
from restitch.folder.run import Progress, fix_folder
from restitch.folder.watch import watch
from restitch.folder.workers import Limits

__all__ = [
    "JOURNAL_NAME",
    "FileResult",
    "Job",
    "Journal",
    "Limits",
    "Progress",
    "Summary",
    "find_jobs",
    "fix_folder",
    "watch",
]

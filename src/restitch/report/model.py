"""The one account of a run that text, JSON and the page are all made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from restitch.fabrics.model import Profile
from restitch.model import Change, Finding, LookKept, OrderFacts, State

SCHEMA = 1
"""Version of the JSON document; raised when a key changes its meaning."""


class Outcome(StrEnum):
    """What a run came to."""

    FIXED = "fixed"
    SOUND = "already sound"
    """Nothing to fix; an output of the same format is the source byte for byte."""
    PREVIEW = "preview"
    """A dry run: nothing was written."""
    COMPARED = "compared"


@dataclass(frozen=True, slots=True)
class FileFacts:
    """A file named in a report."""

    path: str
    format: str
    sha256: str = ""
    size_bytes: int = 0
    name: str = ""
    """Design name stored in the file."""


@dataclass(frozen=True, slots=True)
class Report:
    """Before, after, and everything that was done in between."""

    outcome: Outcome
    source: FileFacts
    output: FileFacts | None
    profile: Profile
    fabric_note: str
    """Which fabric the user's word came to, in one sentence."""
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    objects: int
    changes: tuple[Change, ...] = ()
    findings: tuple[Finding, ...] = ()
    look: LookKept | None = None
    order: OrderFacts = field(default_factory=OrderFacts)
    warnings: tuple[str, ...] = ()

    @property
    def applied(self) -> tuple[Change, ...]:
        """Changes that are in the new file."""
        return tuple(c for c in self.changes if c.state is State.APPLIED)

    @property
    def done(self) -> str:
        """How much was done, in words."""
        return f"{counted(len(self.applied), 'change')} in {counted(self.objects, 'object')}"


def counted(number: int, word: str) -> str:
    """Return ``1 change``, ``2 changes``."""
    return f"{number:,} {word}" if number == 1 else f"{number:,} {word}s"


CAUTIONS = (
    "Sew a test on scrap of the same fabric and backing before production.",
    "Trace the design in the hoop before sewing: a needle that strikes the frame breaks.",
    "Keep hands, hair, loose clothing and jewellery away from the needle and the moving frame; "
    "wait for a full stop.",
    "Switch the machine off to change a needle; find every piece of a broken one.",
    "Slow down over dense spots, stiff seams and cap centres.",
    "The machine's manual and local workplace-safety rules come first; where they differ from "
    "this report, follow them.",
)
"""Usual cautions for the operator (trade rules section 13: HSE, JUL, META, ASI18, MXp)."""

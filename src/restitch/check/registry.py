"""All findings of a design, ranked by what they cost.

Every module of `restitch.check.findings` has a function ``find(survey)`` that yields findings:
one more finding is one more file there. Other packages add theirs by entry point.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Callable, Iterable, Sequence
from importlib import import_module
from typing import NamedTuple

from restitch.check import findings
from restitch.check.survey import FAULT, NOTE, WARNING, Survey
from restitch.extensions import FINDINGS, added
from restitch.fabrics.model import Profile
from restitch.model import Finding, SewnObject, Stream

Finder = Callable[[Survey], Iterable[Finding]]

_RANK = {FAULT: 0, WARNING: 1, NOTE: 2}


def finders() -> dict[str, Finder]:
    """Return the function of every finding by name: our modules', then what packages add."""
    names = sorted(module.name for module in pkgutil.iter_modules(findings.__path__))
    ours = {name: import_module(f"{findings.__name__}.{name}").find for name in names}
    return {**added(FINDINGS), **ours}


def check(stream: Stream, objects: Sequence[SewnObject], profile: Profile) -> tuple[Finding, ...]:
    """Return all findings of a design: faults first, then warnings, then notes; dearest first.

    A ``fault`` is what a fix acts on, a ``warning`` what no fix can cure, a ``note`` what the user
    should know.
    """
    survey = Survey(stream, tuple(objects), profile)
    return ranked(found for find in finders().values() for found in find(survey))


def ranked(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings by severity, then by machine minutes, stitches and layers they cost."""

    def key(f: Finding) -> tuple[object, ...]:
        return (_RANK[f.severity], -f.minutes, -f.stitches, -f.layers, f.name, f.objects, f.text)

    return tuple(sorted(found, key=key))


def over_limits(found: Iterable[Finding]) -> bool:
    """Return whether any finding is a fault: something over the limits that a fix acts on."""
    return any(f.severity == FAULT for f in found)


class Cause(NamedTuple):
    """All findings of one name and severity, added up."""

    name: str
    severity: str
    places: int
    stitches: int
    layers: float
    """The most at any of the places."""
    minutes: float
    fix: str | None
    dearest: Finding


def summary(found: Iterable[Finding]) -> tuple[Cause, ...]:
    """Return the findings added up by cause: faults first, the dearest cause first."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in ranked(found):
        groups.setdefault((finding.severity, finding.name), []).append(finding)
    causes = [
        Cause(
            name=name,
            severity=severity,
            places=len(group),
            stitches=sum(f.stitches for f in group),
            layers=max(f.layers for f in group),
            minutes=round(sum(f.minutes for f in group), 3),
            fix=group[0].fix,
            dearest=group[0],
        )
        for (severity, name), group in groups.items()
    ]
    return tuple(sorted(causes, key=lambda c: (_RANK[c.severity], -c.minutes, -c.layers, c.name)))

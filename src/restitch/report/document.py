"""The report as a JSON document (schema 1, described in docs/schema)."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from restitch import __version__
from restitch.model import Change, Finding
from restitch.report.model import CAUTIONS, SCHEMA, Report


def document_of(report: Report) -> dict[str, Any]:
    """Return the report as plain JSON types."""
    return {
        "schema": SCHEMA,
        "restitch": __version__,
        "outcome": report.outcome.value,
        "source": plain(report.source),
        "output": plain(report.output) if report.output else None,
        "fabric": {
            "name": report.profile.fabric.name,
            "title": report.profile.fabric.title,
            "note": report.fabric_note,
        },
        "profile": report.profile.name,
        "objects": report.objects,
        "before": dict(report.before),
        "after": dict(report.after),
        "saved": saved(report.before, report.after),
        "changes": [change_document(c) for c in report.changes],
        "findings": [finding_document(f) for f in report.findings],
        "look": plain(report.look) if report.look else None,
        "order": plain(report.order),
        "warnings": list(report.warnings),
        "cautions": list(CAUTIONS),
    }


def saved(before: Mapping[str, Any], after: Mapping[str, Any]) -> dict[str, float]:
    """Return before less after for every figure that is a number on both sides."""
    return {
        key: round(value - after[key], 3)
        for key, value in before.items()
        if _is_number(value) and _is_number(after.get(key))
    }


def change_document(change: Change) -> dict[str, Any]:
    """Return one change as plain JSON types."""
    return {**plain(change), "stitches_saved": change.stitches_saved}


def finding_document(finding: Finding) -> dict[str, Any]:
    """Return one finding as plain JSON types."""
    return dict(plain(finding))


def plain(value: Any) -> Any:
    """Return dataclasses, mappings and tuples as dicts and lists, floats rounded to 4 places."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [plain(v) for v in value]
    return round(value, 4) if isinstance(value, float) else value


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)

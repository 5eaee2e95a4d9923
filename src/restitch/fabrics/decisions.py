"""A user's decisions: which proposed changes to accept and which to veto."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from restitch.fabrics.model import known_fixes
from restitch.fabrics.toml_text import nearest, read_toml

WORDS = {"accept": True, "veto": False}


def load_decisions(path: Path | str) -> Mapping[str, bool]:
    """Return True (accept) or False (veto) by change id, from the ``[changes]`` table of a file.

    ``stack-120 = "veto"`` is one decision. A wrong table, word or id that no fix gives is a
    `UsageError` with file and line.
    """
    file = read_toml(Path(path))
    for key in file.values:
        if key != "changes":
            file.fail((key,), f"unknown key '{key}'; {nearest(key, ['changes'])}")
    changes = file.values.get("changes", {})
    if not isinstance(changes, dict):
        file.fail(("changes",), "'changes' must be a table, [changes]")
    for change, word in changes.items():
        if not isinstance(word, str) or word not in WORDS:
            file.fail(("changes", change), f'\'{change}\' must be "accept" or "veto", not {word!r}')
        fix = change.partition("-")[0]
        if fix not in known_fixes():
            file.fail(
                ("changes", change),
                f"'{change}' is no change: no fix '{fix}'; {nearest(fix, known_fixes())}",
            )
    return {change: WORDS[word] for change, word in changes.items()}

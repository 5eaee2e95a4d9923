"""Settings of a command, from its options."""

from __future__ import annotations

from dataclasses import replace as changed
from pathlib import Path

from restitch.errors import UsageError
from restitch.fabrics import default_profile, fabric_note, load_decisions, load_profile
from restitch.fabrics import threads as thread_lists
from restitch.fabrics.model import Profile, known_fixes
from restitch.fabrics.toml_text import nearest
from restitch.rescue_file import Settings


def settings_from(
    fabric: str | None = None,
    profile: Path | None = None,
    only: str | None = None,
    skip: str | None = None,
    decisions: Path | None = None,
    threads: Path | None = None,
    pull: str | None = None,
    *,
    replace: bool = False,
) -> Settings:
    """Return the settings that the options ask for; raises `UsageError` on a wrong one."""
    if profile is not None and fabric is not None:
        raise UsageError("--fabric and --profile exclude each other: a profile names its fabric")
    if profile is not None:
        chosen = load_profile(profile)
        note = f"profile {profile.name}: {chosen.fabric.title}"
    else:
        chosen, note = default_profile(fabric), fabric_note(fabric)
    listed = thread_lists.load_threads(threads) if threads else {}
    if not listed and chosen.machine.needles:
        listed = thread_lists.threads_of_needles(chosen.machine.needles)
    return Settings(
        profile=_with_pull(_with_fixes(chosen, only, skip), pull),
        fabric_note=note,
        decisions=load_decisions(decisions) if decisions else {},
        threads=listed,
        replace=replace,
    )


def _with_fixes(profile: Profile, only: str | None, skip: str | None) -> Profile:
    fixes = profile.fixes
    if only is not None:
        fixes = _named_fixes("--only", only)
    if skip is not None:
        fixes = fixes - _named_fixes("--skip", skip)
    return changed(profile, fixes=fixes)


def _named_fixes(option: str, text: str) -> frozenset[str]:
    names = [n.strip() for n in text.split(",") if n.strip()]
    known = known_fixes()
    for name in names:
        if name not in known:
            raise UsageError(f"{option}: no fix called {name!r}; nearest: {nearest(name, known)}")
    if not names:
        raise UsageError(f"{option}: names no fix; known: {', '.join(known)}")
    return frozenset(names)


def _with_pull(profile: Profile, pull: str | None) -> Profile:
    if pull is None:
        return profile
    amount = None
    if pull != "fabric":
        try:
            amount = float(pull.removesuffix("mm"))
        except ValueError:
            raise UsageError(f"--pull: {pull!r} is neither 'fabric' nor millimetres") from None
        if not 0.0 < amount <= 2.0:
            raise UsageError(f"--pull: {amount:g} mm is outside 0 to 2 mm")
    return changed(profile, fixes=profile.fixes | {"pull"}, pull_mm=amount)

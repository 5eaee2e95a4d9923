"""Rescue machine embroidery stitch files.

``import restitch`` loads nothing but this module; each name below comes from its home when it is
first asked for.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from restitch.api import check, fix, infer, read, write
    from restitch.errors import (
        RefusedError,
        RestitchError,
        UnreadableError,
        UsageError,
        WriteError,
    )
    from restitch.fabrics.model import Profile
    from restitch.model import Change, Finding, SewnObject, Stream
    from restitch.pipeline import Rescue

__version__ = "0.1.0"

__all__ = [
    "Change",
    "Finding",
    "Profile",
    "RefusedError",
    "Rescue",
    "RestitchError",
    "SewnObject",
    "Stream",
    "UnreadableError",
    "UsageError",
    "WriteError",
    "__version__",
    "check",
    "fix",
    "infer",
    "read",
    "write",
]

_HOMES = {
    "api": ("check", "fix", "infer", "read", "write"),
    "errors": ("RefusedError", "RestitchError", "UnreadableError", "UsageError", "WriteError"),
    "fabrics.model": ("Profile",),
    "model": ("Change", "Finding", "SewnObject", "Stream"),
    "pipeline": ("Rescue",),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__


class _Package(ModuleType):
    """The package, whose doors `check`, `fix` and `infer` have the names of rooms.

    Importing a room binds it to the package; here it must not take the place of the door.
    """

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _HOME_OF and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package

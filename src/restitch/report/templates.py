"""The page files that come with the package: templates, style, scripts."""

from __future__ import annotations

from importlib.resources import files
from typing import Any


def page_text(name: str) -> str:
    """Return a file of the pages as text."""
    return (files("restitch.report") / "page_files" / name).read_text("utf-8")


def rendered(template: str, **words: Any) -> str:
    """Return a template filled in; every word is escaped unless it is markup already."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    environment = Environment(
        loader=FunctionLoader(page_text),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(**words)

"""Pictures of the pages: each is drawn by the script, shown somewhere, small and described."""

from __future__ import annotations

import re
import struct
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

from restitch.fabrics.model import known_fixes

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
PICTURES = DOCS / "pictures"
LARGEST = 80_000
"""Bytes of a drawn picture at most; a page with many must still open at once."""
SHOWN = re.compile(r"!\[([^\]]*)\]\(([^)\s]+)\)")


@pytest.fixture(scope="module")
def scripts() -> Iterator[Callable[[str], ModuleType]]:
    """Imports a script that makes pictures."""
    sys.path.insert(0, str(PICTURES))
    try:
        yield import_module
    finally:
        sys.path.remove(str(PICTURES))


@pytest.fixture(scope="module")
def redraw(scripts: Callable[[str], ModuleType]) -> ModuleType:
    return scripts("redraw")


def pages() -> list[Path]:
    return [ROOT / "README.md", *sorted(DOCS.rglob("*.md"))]


def shown() -> dict[Path, str]:
    """Description of every picture by its path."""
    return {
        (page.parent / target).resolve(): words
        for page in pages()
        for words, target in SHOWN.findall(page.read_text("utf-8"))
    }


def test_the_scripts_and_the_pages_agree(
    scripts: Callable[[str], ModuleType], redraw: ModuleType
) -> None:
    photographs = scripts("pages").PHOTOGRAPHS
    names = [*(shot.name for shot in redraw.SHOTS), *photographs]
    assert len(set(names)) == len(names)
    made = {PICTURES / f"{name}.png" for name in names}
    assert set(shown()) == made
    assert set(PICTURES.glob("*.png")) == made


def test_pictures_are_small_and_described() -> None:
    for path, words in shown().items():
        assert len(words) >= 10, path
        assert path.stat().st_size <= LARGEST, path


def test_before_and_after_have_one_scale(redraw: ModuleType) -> None:
    for shot in redraw.SHOTS:
        if shot.name.endswith("-before"):
            after = shot.name.removesuffix("before") + "after"
            assert size_of(shot.name)[0] == size_of(after)[0], after


def size_of(name: str) -> tuple[int, int]:
    """Width and height from the header of a PNG (W3C, PNG specification, 11.2.2 IHDR)."""
    return struct.unpack(">II", (PICTURES / f"{name}.png").read_bytes()[16:24])


def test_a_picture_is_drawn_the_same_twice(redraw: ModuleType) -> None:
    shot = next(s for s in redraw.SHOTS if s.name == "lengths-short-before")
    first = redraw.png_of(shot)
    assert first == redraw.png_of(shot)
    assert struct.unpack(">II", first[16:24]) == size_of(shot.name)


@pytest.mark.parametrize("fix", known_fixes())
def test_every_fix_has_a_page_with_a_pair_of_pictures(fix: str) -> None:
    page = (DOCS / "fixes" / f"{fix}.md").read_text("utf-8")
    for heading in ("At the bench", "Findings that lead to it", "Numbers", "Veto"):
        assert f"\n## {heading}\n" in page, heading
    assert "\n## When it leaves things alone\n" in page
    names = [Path(target).stem for _, target in SHOWN.findall(page)]
    assert any(n.endswith("-before") for n in names)
    assert any(n.endswith("-after") for n in names)
    assert f"]({fix}.md)" in (DOCS / "fixes" / "index.md").read_text("utf-8")

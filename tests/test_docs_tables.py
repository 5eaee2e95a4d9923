"""Tables of the pages against the tables of the code and against what the commands say."""

from __future__ import annotations

import ast
import re
from dataclasses import fields
from pathlib import Path

import pytest

import restitch
from restitch import fabrics
from restitch.check import finders
from restitch.check.survey import FAULT, NOTE, WARNING
from restitch.fabrics.model import Limits, Machine, OrderRules, Weights, known_fixes
from restitch.fabrics.table import thread_weight, thread_weights
from restitch.files import FORMATS, facts, readable_extensions
from restitch.files.process import ReadLimits
from restitch.folder import Limits as FolderLimits
from restitch.measure import measure
from test_docs_errors import fixed_parts

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"


def table(page: str, first_heading: str) -> list[list[str]]:
    """Rows of the table of a page whose first column has this heading."""
    lines = (DOCS / page).read_text("utf-8").splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith(f"| {first_heading} |"))
    rows = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        rows.append([c.strip() for c in line.strip("|").split("|")])
    return rows


def test_fabrics() -> None:
    told = table("fabrics-and-profiles.md", "fabric")
    held = []
    for f in fabrics.fabrics():
        pull = f"{f.pull.share:.0%}, {f.pull.least_mm:g} to {f.pull.most_mm} mm"
        numbers = (f.fill_spacing_mm, f.satin_spacing_mm, f.layers)
        held.append([f.name, f.title, *map(str, numbers), f"{f.speed_spm:g}", pull])
    assert [[c.replace(" 0.20 ", " 0.2 ") for c in row] for row in told] == held


PAGE = "fabrics-and-profiles.md"


def test_words_needle_and_backing() -> None:
    held = [[f.name, ", ".join(f.words), f.needle, f.backing, f.topping] for f in fabrics.fabrics()]
    assert table(PAGE, "name") == held


def test_underlay_of_fabrics() -> None:
    for row in table(PAGE, "underlay of"):
        rule = fabrics.fabric(row[0]).underlay
        zigzag = "never" if rule.zigzag_from_mm is None else f"{rule.zigzag_from_mm:g}"
        double, crossing = ("yes" if b else "no" for b in (rule.double_zigzag, rule.fill_crossing))
        inset, centre = f"{rule.inset_mm:g}", f"{rule.centre_run_below_mm:g}"
        assert row[1:] == [centre, zigzag, double, inset, crossing], row[0]
    assert len(table(PAGE, "underlay of")) == len(fabrics.fabrics())


def test_thread_weights_and_sources() -> None:
    weights = [(w, thread_weight(w)) for w in thread_weights()]
    held = [[str(w), f"{t.spacing:g}", f"{t.lettering:g}"] for w, t in weights if t is not None]
    assert table(PAGE, "thread weight") == held
    assert {row[0]: row[1] for row in table(PAGE, "source")} == dict(fabrics.sources())


def test_every_key_of_a_profile() -> None:
    told = {row[0].strip("`") for row in table(PAGE, "key")}
    tables = {"machine": Machine, "limits": Limits, "weights": Weights, "order": OrderRules}
    held = {f"[{name}] {f.name}" for name, model in tables.items() for f in fields(model)}
    assert told == held | {"kicks"}


def test_limits_of_folders() -> None:
    told = [row[1] for row in table("folders.md", "for one file")]
    whole, reading = FolderLimits(), ReadLimits()
    assert told == [
        f"{whole.seconds / 60:.0f} minutes",
        f"{whole.memory_bytes >> 30} GiB",
        f"{reading.seconds:.0f} s",
        f"{reading.memory_bytes >> 30} GiB",
    ]


def test_the_profile_shown_is_the_shared_one() -> None:
    page = (DOCS / "fabrics-and-profiles.md").read_text("utf-8")
    assert (ROOT / "shared" / "harbour-polo.toml").read_text("utf-8") in page


def notes() -> list[tuple[str, ...]]:
    """Fixed parts of every note about what reading guesses or a format cannot carry."""
    found = []
    for name in ("losses", "guards", "read"):
        path = ROOT / "src" / "restitch" / "files" / f"{name}.py"
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Yield | ast.Return) and name == "losses":
                texts = branches(node.value)
            elif isinstance(node, ast.Tuple) and len(node.elts) == 1:
                texts = branches(node.elts[0])
            else:
                continue
            found += [p for p in map(fixed_parts, texts) if any(" " in part for part in p)]
    return found


def branches(node: ast.expr | None) -> list[ast.expr]:
    """The texts that an expression may be."""
    if isinstance(node, ast.IfExp):
        return branches(node.body) + branches(node.orelse)
    is_text = isinstance(node, ast.JoinedStr | ast.Constant)
    return [node] if node is not None and is_text else []


def test_formats() -> None:
    stops = {"change": "become colour changes"}
    told = {row[0].removeprefix("."): row[1:] for row in table("formats.md", "format")}
    assert list(told) == list(FORMATS)
    for extension, row in told.items():
        held = facts(extension)
        assert held is not None
        assert row == [
            held.colours,
            "yes" if held.thread_names else "no",
            str(held.name_letters or "none"),
            stops.get(held.stops, held.stops),
            str(held.needles or "no"),
            f"{held.largest_move / 10:.1f}" if held.largest_move < 100_000 else "104858",
        ], extension


def test_formats_read() -> None:
    page = (DOCS / "formats.md").read_text("utf-8")
    listed = re.search(r"^Besides the formats above: ([^.]+)\.", page, re.M | re.S)
    assert listed is not None
    named = listed[1].replace("\n", " ").split(", ")
    assert {*named, *FORMATS} == set(readable_extensions())


@pytest.mark.parametrize("parts", notes(), ids=lambda parts: parts[-1][:40])
def test_every_note_about_a_format_is_on_the_page(parts: tuple[str, ...]) -> None:
    page = (DOCS / "formats.md").read_text("utf-8")
    pattern = re.compile("[^`]*".join(map(re.escape, parts)))
    assert any(pattern.search(form) for form in re.findall(r"`([^`\n]+)`", page)), parts


def test_fixes_name_findings_that_exist() -> None:
    names = finding_names()
    told = {row[0]: row[2] for row in table("fixes/index.md", "fix")}
    assert [re.sub(r"\[(\w+)\].*", r"\1", cell) for cell in told] == list(known_fixes())
    for cell in told.values():
        assert set(cell.split(", ")) <= names, cell


def test_every_finding_is_on_its_page() -> None:
    lines = (DOCS / "findings.md").read_text("utf-8").splitlines()
    told = {line.split("|")[1].strip() for line in lines if line.startswith("| ")}
    missing = finding_names() - told
    assert not missing


def finding_names() -> set[str]:
    """Names that the modules of `restitch.check.findings` give to what they find."""
    from importlib import import_module

    modules = [import_module(f"restitch.check.findings.{name}") for name in finders()]
    named = {v for m in modules for k, v in vars(m).items() if k.isupper() and isinstance(v, str)}
    return named - {FAULT, WARNING, NOTE}


SMALL = ("cap-front.xxx", "line-sampler.pes", "small-lines.u01")
"""Bundled designs that are rescued in a second."""


@pytest.mark.parametrize("name", SMALL)
def test_bundled_designs(name: str) -> None:
    row = next(r for r in table("verified.md", "design") if r[0] == name)
    stream = restitch.read(ROOT / "fixtures" / name)
    rescue = restitch.fix(stream, fabric=row[1])
    before, after = measure(stream), measure(rescue.result)
    pairs = [
        (before.stitches, after.stitches),
        (before.trims, after.trims),
        (before.jumps, after.jumps),
    ]
    assert row[2:] == [*(f"{b:,} to {a:,}" for b, a in pairs), f"{rescue.look.kept:.2%}"]

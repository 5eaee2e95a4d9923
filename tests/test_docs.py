"""Every command that the pages show is run, page by page in a folder of its own, and prints what
the page says it prints.

In a page, ``sh`` blocks are commands: exit code 0, or the one a trailing comment names; ``python``
blocks are run as they are. An ``output`` block is what the block before it prints, ``...`` standing
for lines left out. A comment before a block says who runs it instead (``run by``), why nobody does
in CI (``not in CI``) or into which file it belongs (``file``).
"""

from __future__ import annotations

import re
import shlex
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

import click
import pytest
import typer

from restitch.cli import main
from restitch.cli.app import app

ROOT = Path(__file__).parent.parent
PAGES = (ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md")))
BLOCK = re.compile(
    r"^(?:<!-- (?P<mark>[^>\n]+) -->\n+)?```(?P<language>\w*)\n(?P<text>.*?)^```$", re.M | re.S
)
INLINE = re.compile(r"`((?:restitch|python) [^`\n]+)`")
EXIT_CODE = re.compile(r"exit code (\d+)")
INCOMING = ("cap-front.xxx", "line-sampler.pes")
"""Small designs, one of them sound, in the folder ``incoming`` of the pages."""


@dataclass(frozen=True)
class Block:
    """A fenced block of a page and the comment before it."""

    page: Path
    language: str
    text: str
    mark: str

    @property
    def lines(self) -> list[str]:
        """Its lines, those that end in a backslash joined with the next."""
        return self.text.replace("\\\n", " ").splitlines()


def blocks_of(page: Path) -> list[Block]:
    """Every fenced block in the order of the page."""
    return [
        Block(page, found["language"], found["text"], found["mark"] or "")
        for found in BLOCK.finditer(page.read_text("utf-8"))
    ]


BLOCKS = [block for page in PAGES for block in blocks_of(page)]
RUN_HERE = tuple(
    dict.fromkeys(b.page for b in BLOCKS if b.language in ("sh", "python") and not b.mark)
)


def lay_out(folder: Path) -> None:
    """A checkout's folders and a drop folder, as the pages name them."""
    for name in ("fixtures", "shared"):
        (folder / name).symlink_to(ROOT / name)
    (folder / "incoming").mkdir()
    for name in INCOMING:
        shutil.copy(ROOT / "fixtures" / name, folder / "incoming")


@pytest.mark.parametrize("page", RUN_HERE, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_commands_of_a_page_run_and_print_what_it_says(
    page: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    printed = ""
    for block in blocks_of(page):
        if block.mark.startswith("file "):
            (tmp_path / block.mark.removeprefix("file ")).write_text(block.text)
        elif block.language == "sh" and not block.mark:
            printed = ""
            for line in block.lines:
                code = run(line, monkeypatch)
                out, err = capsys.readouterr()
                printed += out + err
                assert code == expected_code(line), f"{page.name}: {line}\n{out}{err}"
        elif block.language == "python":
            exec(compile(block.text, f"{page.name}", "exec"), {"__name__": "__main__"})
            printed = "".join(capsys.readouterr())
        elif block.language == "output":
            assert_printed(block, printed)


def run(line: str, monkeypatch: pytest.MonkeyPatch) -> int:
    """Run one line as a shell would, and return its exit code."""
    words = shlex.split(line, comments=True)
    assert words[0].removeprefix(".venv/bin/") == "restitch", f"nobody runs this: {line}"
    monkeypatch.setattr(sys, "argv", words)
    try:
        main()
    except SystemExit as end:
        return int(end.code or 0)
    return 0


def expected_code(line: str) -> int:
    """0, or what the comment after a command says."""
    _, _, comment = line.partition("#")
    found = EXIT_CODE.search(comment)
    return int(found[1]) if found else 0


def assert_printed(block: Block, printed: str) -> None:
    """The lines of the block stand in what was printed: all in order, and next to each other
    except where ``...`` leaves some out."""
    lines = [line.rstrip() for line in printed.splitlines()]
    at, anywhere = 0, True
    for line in block.text.splitlines():
        if line.strip() == "...":
            anywhere = True
            continue
        rest = lines[at:] if anywhere else lines[at : at + 1]
        assert line.rstrip() in rest, f"{block.page.name}: not printed:\n{line}\nbut\n{printed}"
        at, anywhere = at + rest.index(line.rstrip()) + 1, False


@pytest.mark.parametrize(
    "block",
    [b for b in BLOCKS if b.language == "sh" and b.mark],
    ids=lambda b: f"{b.page.stem}: {b.lines[0][:50]}",
)
def test_what_is_not_run_here_has_somebody_who_runs_it(block: Block) -> None:
    if block.mark.startswith("run by "):
        path, _, name = block.mark.removeprefix("run by ").partition("::")
        assert (
            f"def {name}(" in (ROOT / path).read_text("utf-8") if name else (ROOT / path).exists()
        )
        return
    assert re.fullmatch(r"not in CI: \w.*", block.mark), block.mark
    for line in block.lines:
        assert_known_to_its_script(line)


def assert_known_to_its_script(line: str) -> None:
    """``python SCRIPT --option ...``: the script is there and knows the options."""
    words = shlex.split(line, comments=True)
    script = next(w for w in words if w.endswith(".py"))
    code = (ROOT / script).read_text("utf-8")
    for option in (w.partition("=")[0] for w in words if w.startswith("--")):
        assert f'"{option}"' in code, f"{script} has no {option}"


def lines_named(program: str) -> list[str]:
    """Command lines of a program that stand within sentences, once each."""
    pages = [*PAGES, ROOT / "DEVELOPERS.md"]
    named = {line for p in pages for line in INLINE.findall(p.read_text("utf-8"))}
    return sorted(line for line in named if line.startswith(f"{program} "))


@pytest.mark.parametrize("line", lines_named("python"))
def test_scripts_named_in_sentences_exist(line: str) -> None:
    assert_known_to_its_script(line)


@pytest.mark.parametrize("line", lines_named("restitch"))
def test_commands_named_in_sentences_exist(line: str) -> None:
    group = typer.main.get_command(app)
    assert isinstance(group, click.Group)
    words = shlex.split(line)
    command = group.commands.get(words[1], group) if len(words) > 1 else group
    known = {o for p in command.params for o in (*p.opts, *p.secondary_opts)} | {"--help"}
    if command is group:
        assert words[1].startswith("--"), f"no command {words[1]}"
    for word in words:
        if word.startswith("--"):
            assert word.partition("=")[0].rstrip(",.") in known, f"{words[1]} has no {word}"


TREE = re.compile(r"^(?:src|tests|docs|fixtures|shared|benchmarks|fuzz)/[\w./*-]+$")


@pytest.mark.parametrize(
    "page", [*PAGES, ROOT / "DEVELOPERS.md"], ids=lambda p: p.relative_to(ROOT).as_posix()
)
def test_files_named_in_sentences_exist(page: Path) -> None:
    modules = {p.name for p in ROOT.glob("[!.]*/**/*.py")}
    text = re.sub(r"```.*?^```$", "", page.read_text("utf-8"), flags=re.M | re.S)
    for code in re.findall(r"`([^`\n]+)`", text):
        for word in code.split():
            if TREE.match(word) and "NAME" not in word:
                assert list(ROOT.glob(word)), f"{page.name}: {word}"
            elif re.fullmatch(r"\w+\.py", word):
                assert word in modules, f"{page.name}: {word}"


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_links_of_a_page_lead_somewhere(page: Path) -> None:
    text = re.sub(r"```.*?^```$", "", page.read_text("utf-8"), flags=re.M | re.S)
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        path, _, anchor = target.partition("#")
        if path.startswith(("http:", "https:")):
            continue
        found = (page.parent / path).resolve() if path else page
        assert found.exists(), f"{page.name}: {target}"
        if anchor and found.suffix == ".md":
            assert anchor in anchors_of(found), f"{page.name}: {target}"


def anchors_of(page: Path) -> set[str]:
    """Anchors of the headings, as Python-Markdown's table of contents makes them."""
    heads = re.findall(r"^#+ (.+)$", page.read_text("utf-8"), re.M)
    return {re.sub(r"[-\s]+", "-", re.sub(r"[^\w\s-]", "", h).strip().lower()) for h in heads}

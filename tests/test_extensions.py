"""Another package adds a finding and a fix: a small one, installed as pip would, is found and run.

The package is laid into a folder the way the installed-project standard asks (PyPA specifications,
"Recording installed projects" and "Entry points"): modules, and ``*.dist-info`` with METADATA and
entry_points.txt.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

FIXTURES = Path(__file__).parent.parent / "fixtures"

FINDING = """
from restitch.model import Finding

def find(survey):
    if len(survey.stream.threads) > 3:
        yield Finding("many threads", "note", f"{len(survey.stream.threads)} threads to hang up.")
"""

FIX = """
from dataclasses import replace
from restitch.model import Change

def run(plan, context):
    changes = []
    for obj in plan:
        change = f"rename-{obj.first_record}"
        changes.append(Change(change, "rename", "many threads", "Named anew.", (obj.id,),
                              state=context.state_of(change)))
    return plan, tuple(changes)
"""


def install(folder: Path, entries: str) -> Path:
    """Lay the package into a folder; return the folder."""
    (folder / "harbour_rules.py").write_text(FINDING)
    (folder / "harbour_fixes.py").write_text(FIX)
    info = folder / "harbour_rules-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: harbour-rules\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(entries)
    return folder


def restitch(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """The command in a process that has the folder on its path."""
    return subprocess.run(
        [sys.executable, "-m", "restitch", *words],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(folder)},
        check=False,
    )


def test_an_added_finding_is_found(tmp_path: Path) -> None:
    install(tmp_path, "[restitch.findings]\nmany_threads = harbour_rules:find\n")
    run = restitch(tmp_path, "check", str(FIXTURES / "pennant.pes"), "--json")
    names = {f["name"] for f in json.loads(run.stdout)["findings"]}
    assert "many threads" in names
    assert len(names) > 1, "the others are still there"


def test_an_added_fix_runs_and_can_be_left_out(tmp_path: Path) -> None:
    install(tmp_path, "[restitch.fixes]\nrename = harbour_fixes:run\n")
    words = ("fix", str(FIXTURES / "line-sampler.pes"), str(tmp_path / "new.pes"))
    with_it = json.loads(restitch(tmp_path, *words, "--dry-run", "--json").stdout)
    assert {c["fix"] for c in with_it["changes"]} == {"rename"}
    without = restitch(tmp_path, *words, "--dry-run", "--json", "--skip", "rename")
    assert json.loads(without.stdout)["changes"] == []


def test_an_added_fix_can_be_vetoed(tmp_path: Path) -> None:
    install(tmp_path, "[restitch.fixes]\nrename = harbour_fixes:run\n")
    decisions = tmp_path / "decisions.toml"
    decisions.write_text('[changes]\nrename-0 = "veto"\n')
    source, target = str(FIXTURES / "line-sampler.pes"), str(tmp_path / "new.pes")
    run = restitch(tmp_path, "fix", source, target, "--dry-run", "--decisions", str(decisions))
    assert run.returncode == 0, run.stderr


def test_a_name_of_ours_cannot_be_taken(tmp_path: Path) -> None:
    install(tmp_path, "[restitch.findings]\nsurplus = harbour_rules:find\n")
    run = restitch(tmp_path, "check", str(FIXTURES / "pennant.pes"), "--json")
    assert "many threads" not in {f["name"] for f in json.loads(run.stdout)["findings"]}


@pytest.mark.parametrize("entry", ["harbour_rules:absent", "nowhere:find"])
def test_a_broken_addition_is_one_line_that_names_its_package(tmp_path: Path, entry: str) -> None:
    install(tmp_path, f"[restitch.findings]\nmany_threads = {entry}\n")
    run = restitch(tmp_path, "check", str(FIXTURES / "pennant.pes"))
    assert run.returncode == 2
    assert "harbour-rules" in run.stderr
    assert "Traceback" not in run.stderr
    assert len(run.stderr.strip().splitlines()) == 1


def test_without_additions_the_metadata_library_is_not_loaded() -> None:
    code = (
        "import sys; from restitch.extensions import added; found = added('restitch.fixes'); "
        "print(found, 'importlib.metadata' in sys.modules)"
    )
    run = subprocess.run(
        [sys.executable, "-S", "-c", code],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(FIXTURES.parent / "src")},
        check=True,
    )
    assert run.stdout.strip() == "{} False"

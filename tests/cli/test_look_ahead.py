"""The file is looked at while the command line is understood: the same answers for any guess."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from restitch.cli.ahead import _guessed

FIXTURES = Path(__file__).parents[2] / "fixtures"
PENNANT = str(FIXTURES / "pennant.pes")


@pytest.mark.parametrize(
    "words",
    [
        ["check", PENNANT],
        ["fix", PENNANT, "new.pes"],
        ["fix", "--fabric", "knit", PENNANT, "new.pes"],
        ["fix", "--profile", str(FIXTURES.parent / "pyproject.toml"), PENNANT, "new.pes"],
        ["check", "--json", PENNANT],
    ],
)
def test_the_file_is_guessed_wherever_it_stands(words):
    assert _guessed(words) == Path(PENNANT)


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["--help"],
        ["inspect", PENNANT],
        ["fix", "no-such-file.pes", "new.pes"],
        ["fix", str(FIXTURES), "out"],
        ["check", "bad\0name.pes"],
        ["fix", "--skip", 60 * "stack-1,", "no-such-file.pes", "new.pes"],
    ],
)
def test_nothing_is_looked_at_without_need(words):
    assert _guessed(words) is None


@pytest.mark.skipif(sys.platform != "linux", reason="pipes with names")
def test_a_pipe_gives_its_content_once_and_is_left_alone(tmp_path):
    os.mkfifo(tmp_path / "pipe.pes")
    assert _guessed(["check", str(tmp_path / "pipe.pes")]) is None


def ran(*words):
    """What a command prints in a process of its own, with an idle second core."""
    idle = "import restitch.aside; restitch.aside._others_running = lambda: 0; "
    return subprocess.run(
        [sys.executable, "-c", idle + "from restitch.cli import main; main()", *words],
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_a_wrong_guess_changes_nothing(tmp_path):
    """A thread list may have the ending of a stitch file, and another file may come first."""
    listed = tmp_path / "threads.csv"
    listed.write_text("1, harbour blue, #204080\n")
    asked = ["--threads", str(listed), "--json"]
    first = ran("fix", PENNANT, str(tmp_path / "a.pes"), *asked)
    then = ran("fix", *asked, PENNANT, str(tmp_path / "b.pes"))
    told = [json.loads(r.stdout.replace("b.pes", "a.pes")) for r in (first, then)]
    assert told[0] == told[1]
    assert (tmp_path / "a.pes").read_bytes() == (tmp_path / "b.pes").read_bytes()


@pytest.mark.parametrize(
    ("words", "code", "line"),
    [
        (["check", "not-there.pes"], 3, "cannot be read"),
        (["check", PENNANT, "--fabric", "knot"], 2, "unknown fabric 'knot'"),
        (["check", str(Path(__file__))], 3, "unknown extension"),
        (["fix", PENNANT], 2, "Missing argument"),
    ],
)
def test_what_is_wrong_is_said_as_ever(words, code, line):
    found = ran(*words)
    assert found.returncode == code
    assert line in found.stderr
    assert "Traceback" not in found.stderr

"""What a folder run tells: one line for each file, an account at the end."""

from __future__ import annotations

import pytest

from restitch.cli.folder_run import _print_summary, duration, line_of
from restitch.folder import FileResult, Summary

FIXED = FileResult("caps/pier.dst", "fixed", saved={"stitches": 1200.0, "trims": 1.0})
LONGER = FileResult("pier.dst", "fixed", saved={"stitches": -300.0, "minutes": 0.75})
KNOWN = FileResult("sound.pes", "already sound", saved={"stitches": 0.0}, fresh=False)


def failed(reason: str) -> FileResult:
    return FileResult("caps/pier.dst", "failed", reason=reason)


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        ("pier.dst: ends early", "ends early"),
        (
            "/shop/in/caps/pier.dst: internal error (KeyError: 'a')",
            "internal error (KeyError: 'a')",
        ),
        (
            "/shop/out/caps: cannot be made (disk full)",
            "/shop/out/caps: cannot be made (disk full)",
        ),
        ("odd: about pier.dst: twice", "odd: about pier.dst: twice"),
    ],
)
def test_a_failure_names_the_place_once(reason: str, words: str) -> None:
    assert line_of(failed(reason)) == f"failed        caps/pier.dst: {words}"


def test_a_line_says_fewer_or_more() -> None:
    assert line_of(FIXED) == "fixed         caps/pier.dst, 1,200 stitches fewer"
    assert line_of(LONGER).endswith("300 stitches more")
    assert line_of(KNOWN) == "already sound sound.pes (done before)"


def test_the_account(capsys: pytest.CaptureFixture[str]) -> None:
    results = (failed("pier.dst: ends early"), FIXED, KNOWN, LONGER)
    _print_summary(Summary(results), dry_run=False)
    assert capsys.readouterr().out.splitlines() == [
        "failed        caps/pier.dst: ends early",
        "4 files: 1 already sound, 1 failed, 2 fixed (1 of them in an earlier run)",
        "         0.8 minutes of machine time saved",
        "           1 trim saved",
        "         900 stitches saved",
    ]


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(45, "45 s"), (300, "5 min"), (5399, "1 h 30 min"), (11_100, "3 h 05 min")],
)
def test_times_in_words(seconds: float, words: str) -> None:
    assert duration(seconds) == words

"""The commands as a user types them: what they print, write, refuse, and their exit codes."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pyembroidery
import pytest

from restitch.cli import main

FIXTURES = Path(__file__).parents[2] / "fixtures"
BADGE = FIXTURES / "rope-badge.pes"
SMALL = FIXTURES / "cap-front.xxx"
SOUND = FIXTURES / "line-sampler.pes"


@pytest.fixture
def run(monkeypatch, capsys):
    def _run(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["restitch", *map(str, arguments)])
        with pytest.raises(SystemExit) as stop:
            main()
        captured = capsys.readouterr()
        code = stop.value.code
        return (code if isinstance(code, int) else 0), captured.out, captured.err

    return _run


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_fix_writes_a_new_file_and_leaves_the_source_alone(run, tmp_path):
    before, target = digest(SMALL), tmp_path / "new.xxx"
    code, out, _ = run("fix", SMALL, target, "--fabric", "cap", "--json")
    document = json.loads(out)
    assert code == 0
    assert digest(SMALL) == before
    assert document["schema"] == 1
    assert document["outcome"] == "fixed"
    assert document["source"]["sha256"] == before
    assert document["output"]["sha256"] == digest(target)
    assert document["fabric"]["name"] == "cap"
    back = pyembroidery.read(str(target))
    assert back.count_stitch_commands(pyembroidery.STITCH) == document["after"]["stitches"]
    assert document["after"]["jump_mm"] < document["before"]["jump_mm"]
    assert {"before", "after", "saved", "changes", "findings", "look", "order"} <= set(document)


def test_the_badge_comes_back_thousands_of_stitches_lighter(run, tmp_path):
    """A badge about 87 mm wide of raised satin, over 18,000 stitches, lands near 11,000 (common
    practice, no source: a rescue of that kind)."""
    code, out, _ = run("fix", BADGE, tmp_path / "new.pes", "--fabric", "knit", "--json")
    document = json.loads(out)
    assert code == 0
    assert 80 < document["before"]["width_mm"] < 95
    assert document["before"]["stitches"] > 18_000
    assert 10_000 < document["after"]["stitches"] < 12_000
    assert document["look"]["kept"] > 0.99
    assert document["look"]["bare"] < 0.003
    assert document["after"]["trims"] < document["before"]["trims"]
    fixes = {c["fix"] for c in document["changes"] if c["state"] == "applied"}
    assert {"stack", "layering", "sequence"} <= fixes


def test_a_second_run_changes_nothing_and_says_so(run, tmp_path):
    first, second = tmp_path / "first.xxx", tmp_path / "second.xxx"
    run("fix", SMALL, first, "--fabric", "cap")
    code, out, _ = run("fix", first, second, "--fabric", "cap")
    assert code == 0
    assert "already sound" in out
    assert first.read_bytes() == second.read_bytes()


def test_a_sound_file_comes_out_byte_for_byte(run, tmp_path):
    target = tmp_path / "same.pes"
    code, out, _ = run("fix", SOUND, target, "--fabric", "twill")
    assert code == 0
    assert "already sound" in out
    assert target.read_bytes() == SOUND.read_bytes()


def test_same_input_same_bytes(run, tmp_path):
    targets = [tmp_path / "a.jef", tmp_path / "b.jef"]
    for target in targets:
        run("fix", SMALL, target, "--fabric", "cap")
    assert targets[0].read_bytes() == targets[1].read_bytes()


def test_dry_run_writes_nothing_at_all(run, tmp_path):
    target, page = tmp_path / "new.xxx", tmp_path / "page.html"
    code, out, _ = run("fix", SMALL, target, "--fabric", "cap", "--dry-run", "--report", page)
    assert code == 0
    assert "preview, nothing written" in out
    assert list(tmp_path.iterdir()) == []


def test_a_veto_keeps_its_change_out(run, tmp_path):
    plain, vetoed = tmp_path / "plain.xxx", tmp_path / "vetoed.xxx"
    run("fix", SMALL, plain, "--fabric", "cap")
    decisions = tmp_path / "decisions.toml"
    decisions.write_text('[changes]\n"sequence" = "veto"\n')
    code, out, _ = run("fix", SMALL, vetoed, "--fabric", "cap", "--decisions", decisions, "--json")
    states = {c["id"]: c["state"] for c in json.loads(out)["changes"]}
    assert code == 0
    assert states["sequence"] == "vetoed"
    assert vetoed.read_bytes() != plain.read_bytes()


@pytest.mark.parametrize("extension", ["pes", "pec", "dst", "exp", "jef", "vp3", "u01", "csv"])
def test_every_machine_format_can_be_the_target(run, tmp_path, extension):
    target = tmp_path / f"new.{extension}"
    code, out, _ = run("fix", SMALL, target, "--fabric", "cap", "--only", "links", "--json")
    assert code == 0
    back = pyembroidery.read(str(target))
    stitches = sum(1 for s in back.stitches if s[2] & 0xFF == pyembroidery.STITCH)
    assert stitches == json.loads(out)["after"]["stitches"]


@pytest.mark.parametrize(
    ("name", "content", "words", "code"),
    [
        ("empty.pes", b"", "empty", 3),
        ("design.xyz", b"abc", "unknown extension", 3),
        ("cut.pes", BADGE.read_bytes()[:9000], "ends early", 3),
        ("really-dst.exp", (FIXTURES / "bakehouse.dst").read_bytes(), "DST", 3),
        ("noise.vp3", bytes(range(256)) * 8, "vp3", 3),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(run, tmp_path, name, content, words, code):
    source, target = tmp_path / name, tmp_path / "out" / "new.pes"
    source.write_bytes(content)
    target.parent.mkdir()
    got, out, err = run("fix", source, target, "--fabric", "knit")
    assert got == code
    assert out == ""
    assert len(err.strip().splitlines()) == 1
    assert name in err
    assert words.lower() in err.lower()
    assert list(target.parent.iterdir()) == []


def test_a_missing_source_is_named(run, tmp_path):
    code, _, err = run("fix", tmp_path / "gone.pes", tmp_path / "new.pes")
    assert code == 3
    assert "gone.pes" in err


@pytest.mark.skipif(os.geteuid() == 0 if hasattr(os, "geteuid") else True, reason="root reads all")
def test_a_source_without_permission_is_named(run, tmp_path):
    source = tmp_path / "locked.pes"
    source.write_bytes(SOUND.read_bytes())
    source.chmod(0)
    code, _, err = run("fix", source, tmp_path / "new.pes")
    assert code == 3
    assert "locked.pes" in err


def test_targets_that_are_refused(run, tmp_path):
    source = tmp_path / "design.pes"
    source.write_bytes(SOUND.read_bytes())
    link = tmp_path / "link.pes"
    link.symlink_to(source)
    existing = tmp_path / "existing.pes"
    existing.write_bytes(b"mine")
    for target, code, words in (
        (source, 2, "source"),
        (link, 2, "source"),
        (existing, 4, "--replace"),
        (tmp_path, 4, "folder"),
        (tmp_path / "nowhere" / "new.pes", 4, "no such folder"),
        (tmp_path / "new.hus", 4, "cannot be written"),
    ):
        got, _, err = run("fix", source, target, "--fabric", "twill")
        assert got == code, err
        assert words in err
    assert existing.read_bytes() == b"mine"
    assert source.read_bytes() == SOUND.read_bytes()
    assert run("fix", source, existing, "--fabric", "twill", "--replace")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--fabric", "knitt"), "'knit'"),
        (("--only", "stak"), "stack"),
        (("--skip", "ties"), "no fix called"),
        (("--pull", "lots"), "millimetres"),
        (("--pull", "9"), "outside"),
    ],
)
def test_wrong_options_name_the_nearest_right_one(run, tmp_path, arguments, words):
    code, _, err = run("fix", SOUND, tmp_path / "new.pes", *arguments)
    assert code == 2
    assert words in err


def test_check_exits_1_on_faults_and_0_on_a_sound_file(run):
    code, out, _ = run("check", FIXTURES / "bakehouse.dst", "--fabric", "twill", "--json")
    document = json.loads(out)
    assert code == 1
    assert document["over_limits"]
    assert any("double" in f["name"] for f in document["findings"])
    code, out, _ = run("check", SOUND, "--fabric", "twill", "--json")
    assert code == 0
    assert not json.loads(out)["over_limits"]


def test_inspect_parts_index_the_records_pyembroidery_reads(run):
    code, out, _ = run("inspect", SMALL, "--json")
    objects = json.loads(out)["objects"]
    records = pyembroidery.read(str(SMALL)).stitches
    owned = [i for o in objects for p in o["parts"] for i in range(p["start"], p["stop"])]
    stitches = {i for i, s in enumerate(records) if s[2] & 0xFF == pyembroidery.STITCH}
    assert code == 0
    assert stitches <= set(owned)
    assert len([i for i in owned if i in stitches]) == len(stitches)


def test_tables_for_people(run):
    assert "satin" in run("inspect", SMALL)[1]
    assert "jersey" in run("fabrics")[1]
    assert "our choice" in run("fabrics", "knit")[1]
    assert "trim_over_mm" in run("profiles", Path("shared/harbour-polo.toml").resolve())[1]


def test_compare_tells_the_difference_of_two_files(run, tmp_path):
    target = tmp_path / "new.xxx"
    run("fix", SMALL, target, "--fabric", "cap")
    code, out, _ = run("compare", SMALL, target, "--json")
    document = json.loads(out)
    assert code == 0
    assert document["outcome"] == "compared"
    assert document["saved"]["jump_mm"] > 0


def test_help_and_version_load_nothing_heavy():
    """Start-up: neither numpy nor shapely nor rich may be loaded for help."""
    probe = (
        "import sys; sys.argv=['restitch','--help']\n"
        "from restitch.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "bad={'numpy','shapely','networkx','PIL','rich','jinja2','pyembroidery'}&set(sys.modules)\n"
        "sys.exit(f'loaded {bad}' if bad else 0)"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "Exit codes" in done.stdout


def test_python_m_restitch_works():
    done = subprocess.run(
        [sys.executable, "-m", "restitch", "--version"], capture_output=True, text=True
    )
    assert done.stdout.startswith("restitch ")


@pytest.mark.skipif(sys.platform != "linux", reason="pipes with names")
def test_a_profile_is_read_once(tmp_path):
    """A pipe gives its content once: findings and fixes must come from one reading."""
    plain, pipe = tmp_path / "shop.toml", tmp_path / "pipe.toml"
    plain.write_text('fabric = "towel"\n')
    os.mkfifo(pipe)
    told = []
    for profile in (plain, pipe):
        command = [sys.executable, "-m", "restitch", "fix", str(FIXTURES / "pennant.pes")]
        command += [str(tmp_path / "new.pes"), "--dry-run", "--json", "--profile", str(profile)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            if profile is pipe:
                pipe.write_text(plain.read_text())
            told.append(json.loads(process.communicate(timeout=60)[0]))
    assert told[0]["findings"] == told[1]["findings"]
    assert told[0]["changes"] == told[1]["changes"]


@pytest.mark.parametrize(("source", "code"), [(SMALL, 0), (Path("no-such-file.pes"), 3)])
def test_a_program_ends_at_once_with_all_said_and_done(source, code, tmp_path):
    """What others left to do at the end is done, what was printed is all there."""
    mark = tmp_path / "mark"
    script = (
        "import atexit, pathlib, sys\n"
        "from restitch.cli import program\n"
        "atexit.register(pathlib.Path(sys.argv.pop()).write_text, 'closed')\n"
        "program()"
    )
    command = [sys.executable, "-c", script, "inspect", str(source), "--json", str(mark)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == code, done.stderr
    assert mark.read_text() == "closed"
    assert json.loads(done.stdout)["objects"] if code == 0 else "cannot be read" in done.stderr


def test_a_program_waits_for_its_threads(tmp_path):
    script = (
        "import pathlib, sys, threading, time\n"
        "from restitch.cli import program\n"
        "mark = pathlib.Path(sys.argv.pop())\n"
        "threading.Thread(target=lambda: (time.sleep(1.0), mark.write_text('done'))).start()\n"
        "program()"
    )
    command = [sys.executable, "-c", script, "--version", str(tmp_path / "mark")]
    assert subprocess.run(command, capture_output=True).returncode == 0
    assert (tmp_path / "mark").read_text() == "done"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes")
def test_whoever_stops_reading_gets_no_traceback():
    command = [sys.executable, "-m", "restitch", "inspect", str(BADGE), "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert b"Traceback" not in process.stderr.read()


@pytest.mark.skipif(sys.platform == "win32", reason="a shell that closes files")
@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_without_standard_files_a_command_does_its_work(closed, tmp_path):
    words = [sys.executable, "-m", "restitch", "fix", str(SMALL), str(tmp_path / "new.pes")]
    done = subprocess.run(
        ["sh", "-c", f'"$@" {closed}', "sh", *words], capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "new.pes").exists()


@pytest.mark.parametrize(
    ("words", "code", "what"),
    [
        (["check", "SRC"], 3, "cannot be read"),
        (["fix", "SRC", "new.pes"], 3, "cannot be read"),
        (["fix", str(SMALL), "SRC"], 4, "cannot be written"),
        (["fix", str(SMALL), "new.pes", "--report", "SRC"], 4, "cannot be written"),
    ],
)
def test_a_name_too_long_is_refused_in_a_line(words, code, what, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    command = [
        sys.executable,
        "-m",
        "restitch",
        *(300 * "a" + ".pes" if w == "SRC" else w for w in words),
    ]
    done = subprocess.run(command, capture_output=True, text=True)
    assert (done.returncode, done.stderr.count("\n")) == (code, 1)
    assert what in done.stderr
    assert not list(tmp_path.iterdir())

"""The library's doors: light to import, never shadowed by a room, one with the command line."""

import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import restitch
from restitch.cli.app import app

FIXTURES = Path(__file__).parent.parent / "fixtures"
HEAVY = ("numpy", "shapely", "networkx", "pyembroidery", "PIL", "jinja2", "typer", "rich")


def _python(code: str) -> str:
    """What a fresh interpreter prints."""
    run = [sys.executable, "-c", code]
    return subprocess.run(run, capture_output=True, text=True, check=True).stdout.strip()


def test_import_loads_nothing_heavy() -> None:
    code = f"import sys, restitch; print([m for m in {HEAVY!r} if m in sys.modules])"
    assert _python(code) == "[]"


@pytest.mark.parametrize("door", ["check", "fix", "infer"])
def test_importing_a_room_leaves_its_door(door: str) -> None:
    """Rooms and doors share names; the import system binds a room to its package."""
    code = (
        f"import restitch; from restitch.{door} import __doc__ as room; import restitch.{door}; "
        f"assert room; print(callable(restitch.{door}), type(restitch.{door}).__name__)"
    )
    assert _python(code) == "True function"


def test_every_public_name_is_there_and_no_other() -> None:
    for name in restitch.__all__:
        assert getattr(restitch, name) is not None
    assert set(dir(restitch)) == set(restitch.__all__)
    with pytest.raises(AttributeError, match="stich"):
        restitch.stich  # noqa: B018


def test_fix_and_write_give_what_the_command_gives(tmp_path: Path) -> None:
    source, by_command, by_library = (
        FIXTURES / "pennant.pes",
        tmp_path / "a.pes",
        tmp_path / "b.pes",
    )
    run = CliRunner().invoke(app, ["fix", str(source), str(by_command), "--fabric", "felt"])
    assert run.exit_code == 0, run.output
    found = restitch.fix(restitch.read(source), fabric="felt")
    restitch.write(found.result, by_library)
    assert by_library.read_bytes() == by_command.read_bytes()


def test_a_veto_is_honoured() -> None:
    stream = restitch.read(FIXTURES / "pennant.pes")
    first = restitch.fix(stream, fabric="felt").changes[0]
    again = restitch.fix(stream, fabric="felt", veto=[first.id])
    assert {c.id: str(c.state) for c in again.changes}[first.id] == "vetoed"


def test_a_profile_names_its_fabric(tmp_path: Path) -> None:
    profile = tmp_path / "bench.toml"
    profile.write_text('name = "Bench"\nfabric = "towel"\n')
    stream = restitch.read(FIXTURES / "line-sampler.pes")
    assert restitch.check(stream, profile=profile) == restitch.check(stream, fabric="terry")
    with pytest.raises(restitch.UsageError, match="exclude each other"):
        restitch.check(stream, fabric="knit", profile=profile)


def test_objects_may_be_given_to_check() -> None:
    stream = restitch.read(FIXTURES / "pennant.pes")
    objects = restitch.infer(stream)
    assert restitch.check(stream, objects=objects) == restitch.check(stream)


def test_a_result_that_costs_the_look_is_refused(tmp_path: Path) -> None:
    """With a limit that no change can meet, the rescue is refused by name."""
    profile = tmp_path / "strict.toml"
    profile.write_text('name = "Strict"\nfabric = "felt"\n[limits]\nlook = 1.0\n')
    with pytest.raises(restitch.RefusedError, match="of the look"):
        restitch.fix(restitch.read(FIXTURES / "kelp-wreath.dst"), profile=profile)


def test_write_refuses_what_exists(tmp_path: Path) -> None:
    target = tmp_path / "new.pes"
    stream = restitch.read(FIXTURES / "line-sampler.pes")
    restitch.write(stream, target)
    with pytest.raises(restitch.WriteError, match="exists already"):
        restitch.write(stream, target)
    restitch.write(stream, target, replace=True)

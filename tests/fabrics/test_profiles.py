"""Profiles, decisions and thread lists: what they set, and the exact words of every complaint."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from restitch.errors import UsageError
from restitch.fabrics import (
    default_profile,
    describe,
    load_decisions,
    load_profile,
    load_threads,
    threads_of_needles,
    with_threads,
)
from restitch.fabrics.model import Limits
from restitch.fabrics.values import BOUNDS, types_of
from restitch.model import Command, Stream, Thread

SHARED = Path(__file__).parents[2] / "shared"


def profile_of(tmp_path, text):
    path = tmp_path / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return load_profile(path)


def test_shop_profiles_of_the_project():
    assert {p.name for p in SHARED.glob("*.toml")} >= {
        "harbour-polo.toml",
        "cap-front.toml",
        "towel.toml",
    }
    for path in SHARED.glob("*.toml"):
        rows = describe(load_profile(path))
        assert any(row.source.startswith(f"{path.name}, line ") for row in rows)


def test_profile_inherits_and_sets(tmp_path):
    found = profile_of(
        tmp_path,
        'fabric = "polo"\nkicks = 7\n[limits]\ntrim_over_mm = 6\n[machine]\nhoop_mm = [100, 80]\n',
    )
    assert found.name == "bench"
    assert found.fabric == default_profile("pique").fabric
    assert (found.kicks, found.limits.trim_over_mm) == (7, 6.0)
    assert found.machine.hoop_mm == (100.0, 80.0)
    assert found.sources["limits.trim_over_mm"] == "bench.toml, line 4"
    assert "pull" not in found.fixes


def test_numbers_of_the_fabric_can_be_set(tmp_path):
    found = profile_of(
        tmp_path,
        '[fabric]\nname = "terry"\nsatin_spacing_mm = 0.45\n'
        '[fabric.underlay]\nzigzag_from_mm = "never"\n[fabric.pull]\nshare = 0.2\n',
    ).fabric
    assert found.satin_spacing_mm == 0.45
    assert found.underlay.zigzag_from_mm is None
    assert found.pull.share == 0.2
    assert found.pull.most_mm == default_profile("terry").fabric.pull.most_mm


def test_a_stated_pull_asks_for_the_fix(tmp_path):
    assert "pull" in profile_of(tmp_path, "pull_mm = 0.3\n").fixes


def test_finer_thread_sews_closer_and_smaller(tmp_path):
    # Impressions, 11 Feb 2016: 60 weight needs 25 % more stitches, 0.40 / 1.25 = 0.32 mm
    found = profile_of(tmp_path, 'fabric = "twill"\n[machine]\nthread_wt = 60\n')
    assert found.fabric.satin_spacing_mm == pytest.approx(0.40 / 1.25)
    assert found.limits.lettering_min_mm == pytest.approx(3.75)


COMPLAINTS = [
    ("a =", 1, "not valid TOML"),
    ("\n\nfabrik = 'x'", 3, "unknown key 'fabrik'; did you mean 'fabric'?"),
    ("fabric = 'polp'", 1, "unknown fabric 'polp'; did you mean 'polo'?"),
    ("fabric = 3", 1, "must be the name of a fabric in quotes"),
    ("[fabric]\nsatin_spacing_mm = 0.4", 1, "[fabric] needs a name"),
    ("[fabric]\nname = 'cap'\nlayer = 2", 3, "did you mean 'layers'?"),
    ("[fabric]\nname='cap'\n[fabric.pull]\nshare = 3", 4, "'share' = 3 is impossible"),
    ("[limits]\n\ntrim_over = 3", 3, "did you mean 'trim_over_mm'?"),
    ("[limits]\nlook = 'high'", 2, "'look' must be a number, not \"high\""),
    ("[limits]\npile_up = 2.5", 2, "'pile_up' must be a whole number, not 2.5"),
    ("[limits]\nlayers = nan", 2, "'layers' = nan is impossible"),
    ("[limits]\nshortest_stitch_mm = 1.5", 2, "exceeds safe_stitch_mm = 1"),
    ("limits = 3", 1, "'limits' must be a table, [limits]"),
    ("[machine]\nhoop_mm = [1]", 2, "must be a list of 2 numbers"),
    ("[machine]\nthread_wt = 50", 2, "thread weight 50 is not in the table"),
    ("fixes = ['stak']", 1, "unknown fix 'stak'; did you mean 'stack'?"),
    ("kicks = true", 1, "'kicks' must be a whole number, not true"),
    ("[order]\n# note\ncentre_out = -1", 3, "must lie from 0"),
    ("name = '''\nkicks = 1\n'''\nkicks = 'x'", 4, "'kicks' must be a whole number"),
]


@pytest.mark.parametrize(("text", "line", "words"), COMPLAINTS)
def test_complaints_name_file_and_line(tmp_path, text, line, words):
    with pytest.raises(UsageError) as error:
        profile_of(tmp_path, text)
    said = str(error.value)
    assert said.startswith(f"{tmp_path / 'bench.toml'}:{line}: ")
    assert words in said
    assert "\n" not in said


def test_files_that_are_no_profile(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        load_profile(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b'name = "x"\n# M\xfcller\n')
    with pytest.raises(UsageError, match=r"latin.toml:2: not UTF-8"):
        load_profile(tmp_path / "latin.toml")
    (tmp_path / "large.toml").write_bytes(b"#" * (1 << 21))
    with pytest.raises(UsageError, match="not a settings file"):
        load_profile(tmp_path / "large.toml")


@given(key=st.sampled_from(sorted(types_of(Limits))), data=st.data())
def test_every_limit_is_bounded(tmp_path_factory, key, data):
    low, high = BOUNDS[key]
    value = data.draw(st.one_of(st.floats(max_value=low - 0.01), st.floats(min_value=high + 0.01)))
    path = tmp_path_factory.mktemp("p") / "p.toml"
    path.write_text(f"[limits]\n{key} = {value!r}\n".replace("e+", "e"))
    with pytest.raises(UsageError, match=f"p.toml:2: '{key}'"):
        load_profile(path)


def test_decisions(tmp_path):
    path = tmp_path / "d.toml"
    path.write_text('[changes]\nstack-120 = "veto"\nunderlay-7 = "accept"\n')
    assert load_decisions(path) == {"stack-120": False, "underlay-7": True}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[change]\nstack-1 = "veto"', "1: unknown key 'change'; did you mean 'changes'?"),
        ('[changes]\nstack-1 = "no"', '2: \'stack-1\' must be "accept" or "veto"'),
        ('[changes]\n\nstak-1 = "veto"', "3: 'stak-1' is no change: no fix 'stak'"),
        ("changes = 1", "1: 'changes' must be a table"),
    ],
)
def test_wrong_decisions(tmp_path, text, words):
    path = tmp_path / "d.toml"
    path.write_text(text)
    with pytest.raises(UsageError) as error:
        load_decisions(path)
    assert words in str(error.value)


def blocks(count):
    """A stream of so many blocks, one stitch each, without colours of its own."""
    rows = [
        (i, 0, Command.COLOR_CHANGE if s else Command.STITCH) for i in range(count) for s in (0, 1)
    ]
    table = np.array(rows[:-1], np.int32)
    return Stream(
        table[:, :2],
        table[:, 2].astype(np.uint8),
        tuple(Thread(i) for i in range(count)),
        "dst",
        colours_known=False,
    )


def test_listed_threads_make_equal_blocks_equal(tmp_path):
    path = tmp_path / "threads.txt"
    path.write_text("# needle, name, colour\n1 3, navy, #14285a\n2, rope gold, 1070\n")
    named = with_threads(blocks(3), load_threads(path))
    assert named.colours_known
    assert named.threads[0] == named.threads[2] != named.threads[1]
    assert (named.threads[0].hex, named.threads[1].number) == ("#14285a", "1070")


def test_blocks_not_listed_stay_apart(tmp_path):
    path = tmp_path / "threads.txt"
    path.write_text("1, navy, #14285a\n")
    threads = with_threads(blocks(3), load_threads(path)).threads
    assert len(set(threads)) == 3


def test_threads_of_a_needle_table():
    listed = threads_of_needles(("sea green", "#f4f4ee", "1070"))
    assert (listed[1].name, listed[2].rgb, listed[3].number) == ("sea green", 0xF4F4EE, "1070")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1, navy, #14285a\n1, red, #c81e28", ":2: 1 is listed already in line 1"),
        ("one, navy, #14285a", ":1: 'one' is not a needle or block number"),
        ("navy", ":1: a line reads"),
        ("1, navy, #12", ":1: '#12' is neither a colour"),
        ("1, , ", ":1: the thread has no name"),
        ("# nothing", "lists no thread"),
    ],
)
def test_wrong_thread_lists(tmp_path, text, words):
    path = tmp_path / "t.txt"
    path.write_text(text)
    with pytest.raises(UsageError) as error:
        load_threads(path)
    assert words in str(error.value)

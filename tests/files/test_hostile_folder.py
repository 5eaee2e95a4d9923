"""A folder of hostile files of every class, through the whole door: each one line, none an output.

The classes are those of damaged and made-up files that pyembroidery 1.5.1 stumbles over, hangs on
or reads as something else; every file here is made from a design of our own.
"""

from __future__ import annotations

import hashlib
import json
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest
from file_makers import lighthouse
from test_damaged_files import csv_of, hus_file, shv_file

from restitch.files import encode

WARNED = ("count.dst", "cut.exp")
"""Files that may be read, with a warning."""


def hostile() -> dict[str, bytes]:
    """Name and bytes of each file."""
    whole = {fmt: encode(lighthouse(), fmt).data for fmt in ("dst", "exp", "jef", "json", "pec")}
    whole |= {fmt: encode(lighthouse(), fmt).data for fmt in ("pes", "u01", "vp3", "xxx", "csv")}
    noise = random.Random(5).randbytes
    near = ("STITCH", 0, 0)
    files = {
        "far.csv": csv_of(near, ("STITCH", 1e308, 5)),
        "kilometres.csv": csv_of(near, ("STITCH", 1e12, 5)),
        "encoder.csv": csv_of(near, ("OPTION_MAX_STITCH_LENGTH", 0, 0), ("STITCH", 9, 9)),
        "words.csv": csv_of(near, ("STITCH", "east", 0)),
        "torn.csv": whole["csv"][:11],
        "inside.exp": whole["dst"],
        "count.dst": whole["dst"][:20] + b"ST:  99999" + whole["dst"][30:],
        "cut.exp": whole["exp"][: whole["exp"].index(b"\x80\x04", 40) + 4],
        "colours.hus": hus_file([0x80] * 9, [3] * 9, [4] * 9)[:8] + b"\xff" * 4 + b"\0" * 60,
        "claims.hus": hus_file([0x80] * 9, [3] * 9, [4] * 9, count=400),
        "cut.hus": hus_file([0x80] * 9, [3] * 9, [4] * 9)[:50],
        "cut.shv": shv_file(20, 40),
        "wide.pes": whole["pes"].replace(b"LA:Harbour", b"LA:H\xc3\xa4rbour"),
        "block.vp3": _short_block(whole["vp3"]),
        "noise.max": noise(600),
        "noise.xxx": whole["xxx"][:100] + noise(200),
        "noise.sew": noise(2),
        "text.json": whole["json"].replace(b'"stitches"', b'"stitch"'),
        "string.json": b'{"threadlist": [], "extras": {}, "stitches": [["east", null, "STITCH"]]}',
        "bits.json": bytes(b ^ 0x10 if k % 97 == 96 else b for k, b in enumerate(whole["json"])),
        "deep.json": b"[" * 200_000,
        "hole.csv": csv_of(near, ("JUMP", 30, 0), near),
        "none.csv": csv_of(("JUMP", 30, 0)),
    }
    for fmt in ("dst", "jef", "pec", "pes", "u01", "vp3", "xxx", "json"):
        long = encode(lighthouse(200), fmt).data
        files[f"half.{fmt}"] = long[: len(long) // 2]
        files[f"empty.{fmt}"] = b""
        files[f"scrap.{fmt}"] = whole[fmt][:12]
    return files


def _short_block(data: bytes) -> bytes:
    """The first colour block says that it is 40 bytes shorter than it is."""
    at = data.index(b"\x00\x05\x00") + 3
    length = int.from_bytes(data[at : at + 4], "big") - 40
    return data[:at] + length.to_bytes(4, "big") + data[at + 4 :]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    for name, data in hostile().items():
        (folder / name).write_bytes(data)
    (folder / "sound.dst").write_bytes(encode(lighthouse(), "dst").data)
    return folder


def test_a_folder_of_hostile_files(folder: Path, tmp_path: Path) -> None:
    before = {p: hashlib.sha256(p.read_bytes()).digest() for p in folder.iterdir()}
    begun = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "restitch", "fix", folder, tmp_path / "out", "--json"],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert time.monotonic() - begun < 60
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    rows = {row["path"]: row for row in json.loads(done.stdout)["files"]}
    assert set(rows) == {p.name for p in before}
    for name, row in rows.items():
        if name == "sound.dst":
            assert row["outcome"] != "failed"
        elif name in WARNED:
            assert row["outcome"] == "failed" or row["warnings"], name
        else:
            assert row["outcome"] == "failed", name
            assert row["exit_code"] == 3, (name, row["reason"])
            assert row["reason"].startswith(f"{name}: "), name
            assert "\n" not in row["reason"]
    written = {p.name for p in (tmp_path / "out").iterdir()} - {".restitch-journal"}
    assert written == {name for name, row in rows.items() if row["outcome"] != "failed"}
    assert {p: hashlib.sha256(p.read_bytes()).digest() for p in folder.iterdir()} == before


@pytest.mark.parametrize("command", ["check", "inspect"])
@pytest.mark.parametrize("name", ["block.vp3", "string.json", "claims.hus"])
def test_other_commands_refuse_as_well(folder: Path, command: str, name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "restitch", command, folder / name],
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (3, "", 1)
    assert name in done.stderr

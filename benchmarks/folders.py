"""Folder runs measured: throughput by workers, memory over many files, kills and resumes.

    python benchmarks/folders.py throughput [FILES]   (200)
    python benchmarks/folders.py memory [FILES]       (2000)
    python benchmarks/folders.py kill [KILLS]         (100; a folder of 50 files)

Prints the rows for the table in docs/folders.md. Sources are small invented designs, made into a
temporary folder; with ``--room FOLDER`` everything is kept there, and a measurement that was
stopped goes on where it was.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "fixtures"))

KINDS = ("cap_name", "small_lines", "buoys", "pennant", "line_sampler", "wreath")
FORMATS = ("pes", "dst", "exp", "jef", "xxx")
BROKEN = ((), ("far_joins",), ("blemished",), ("missing_underlay",))
DIFFERENT = 40
"""Designs made; more files are copies of them under other names, each its own content."""


def fill(folder: Path, count: int) -> None:
    """Write so many stitch files into a folder with subfolders."""
    from designs import make_case

    made: list[tuple[str, bytes]] = []
    for k in range(min(count, DIFFERENT)):
        fmt = FORMATS[k % len(FORMATS)]
        case = make_case(KINDS[k % len(KINDS)], k, fmt, BROKEN[k % len(BROKEN)])
        made.append((fmt, case.broken.data))
    for k in range(count):
        fmt, data = made[k % len(made)]
        place = folder / f"shelf{k % 7}" / f"design{k:04d}.{fmt}"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(data)


def command(source: Path, target: Path, workers: int) -> list[str]:
    """The command line of a run."""
    run = ["fix", str(source), str(target), "--fabric", "knit", "--workers", str(workers)]
    return [sys.executable, "-m", "restitch", *run]


def hashes(folder: Path) -> dict[str, str]:
    """Content of every file but the journal."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.name != ".restitch-journal"
    }


BUSY = "sum(i * i for i in range(8_000_000))"


def gain_of_two() -> float:
    """How much more two busy processes get done than one, on this machine and now."""
    seconds = []
    for count in (1, 2):
        begun = time.perf_counter()
        busy = [subprocess.Popen([sys.executable, "-c", BUSY]) for _ in range(count)]
        for process in busy:
            process.wait()
        seconds.append(time.perf_counter() - begun)
    return 2 * seconds[0] / seconds[1]


def throughput(room: Path, count: int) -> None:
    """Seconds with one worker and with two, and whether the bytes are the same."""
    fill(room / "in", count)
    noted = room / "throughput.json"
    seconds: dict[str, float] = json.loads(noted.read_text()) if noted.exists() else {}
    gains = [gain_of_two()]
    for workers in ("1", "2"):
        if workers in seconds:
            continue
        target = room / f"out{workers}"
        shutil.rmtree(target, ignore_errors=True)  # half a run says nothing about time
        begun = time.perf_counter()
        subprocess.run(
            command(room / "in", target, int(workers)),
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        seconds[workers] = time.perf_counter() - begun
        noted.write_text(json.dumps(seconds))
        print(f"{workers} workers: {seconds[workers]:.1f} s", file=sys.stderr, flush=True)
    gains.append(gain_of_two())
    one, two = seconds["1"], seconds["2"]
    same = "the same bytes" if hashes(room / "out1") == hashes(room / "out2") else "OTHER BYTES"
    print(f"| one worker, {count} designs of {stitches(room / 'in')} stitches ", end="")
    print(f"| {one:.0f} s, {count / one:.2f} files a second |")
    print(
        f"| two workers, the same folder | {two:.0f} s, {count / two:.2f} files a second: ", end=""
    )
    print(f"{one / two:.2f} times one, {same} |")
    print("| two busy processes on that machine, before and after ", end="")
    print(f"| {gains[0]:.2f} and {gains[1]:.2f} times the work of one |")


def stitches(folder: Path) -> str:
    """Range of the stitch counts of a folder's designs, in words."""
    from restitch.files import read_stream

    counts = [len(read_stream(p).stitch_index) for p in list(folder.rglob("*.*"))[:DIFFERENT]]
    return f"{round(min(counts), -2):,} to {round(max(counts), -2):,}"


def memory(room: Path, count: int) -> None:
    """Memory of the run, its workers and their readers at every twentieth of the files."""
    fill(room / "in", count)
    noted = room / "memory.jsonl"
    process = subprocess.Popen(
        command(room / "in", room / "out", 2),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    step = max(1, count // 20)
    with noted.open("a") as rows:
        for line in process.stderr:
            done, _, _ = line.partition("/")
            if done.isdigit() and int(done) % step == 0 and "done before" not in line:
                rows.write(json.dumps([int(done), resident(process.pid)]) + "\n")
                rows.flush()
                print(line.strip(), resident(process.pid), file=sys.stderr, flush=True)
    if process.wait() != 0:
        sys.exit(f"the run ended with {process.returncode}")
    seen = [json.loads(line) for line in noted.read_text().splitlines()]
    for role, words in (("run", "the run itself"), ("worker", "the larger of two workers")):
        sizes = [(done, max(found[role])) for done, found in seen if found[role]]
        at = dict(sizes)
        shown = [at[done] for done in (step, count // 2, at and max(at)) if done in at]
        figures = ", ".join(f"{size:.0f}" for size in shown)
        print(f"| memory of {words} after {step:,}, {count // 2:,} and {max(at):,} files ", end="")
        print(f"| {figures} MiB; most {max(size for _, size in sizes):.0f} MiB |")


ROLES = {"worker": b"spawn_main", "reader": b"child.py", "run": b"restitch\0fix"}
"""What the command line of each kind of process contains."""


def resident(run: int) -> dict[str, list[float]]:
    """Resident memory in MiB of a run's processes, by role (Linux)."""
    sizes: dict[str, list[float]] = {role: [] for role in ROLES}
    parents = {run}
    for folder in sorted(Path("/proc").glob("[0-9]*"), key=lambda p: int(p.name)):
        try:
            status = (folder / "status").read_text()
            line = (folder / "cmdline").read_bytes()
        except OSError:  # it has ended
            continue
        fields = dict(row.split(":", 1) for row in status.splitlines())
        if int(folder.name) not in parents and int(fields["PPid"]) not in parents:
            continue
        parents.add(int(folder.name))
        role = next((role for role, mark in ROLES.items() if mark in line), None)
        if role and "VmRSS" in fields:
            sizes[role].append(round(int(fields["VmRSS"].split()[0]) / 1024, 1))
    return sizes


def kill(room: Path, kills: int) -> None:
    """Kill runs of a folder at random moments and resume them, until so many kills are done."""
    source = room / "in"
    fill(source, 50)
    sources = hashes(source)
    begun = time.perf_counter()
    subprocess.run(command(source, room / "calm", 1), check=True, capture_output=True)
    whole = time.perf_counter() - begun
    calm, chance, done, number = hashes(room / "calm"), random.Random(1), 0, 0
    print(f"undisturbed: {whole:.0f} s", file=sys.stderr, flush=True)
    while done < kills:
        number += 1
        target = room / f"out{number}"
        for _ in range(min(12, kills - done)):
            process = subprocess.Popen(
                command(source, target, 1 + number % 2),
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
            # a dozen kills reach through most of a run: each goes on where the last one stopped
            time.sleep(chance.uniform(0.2, 0.16 * whole))
            if process.poll() is not None:
                break
            process.kill()
            process.wait()
            done += 1
        subprocess.run(command(source, target, 1), check=True, capture_output=True)
        assert hashes(target) == calm, "an output differs from the undisturbed run"
        assert hashes(source) == sources, "a source changed"
        print(f"{done} kills so far, all well", file=sys.stderr, flush=True)
    print(
        f"| killed (`kill -9`) at {done} random moments in {number} folders of 50 designs, ", end=""
    )
    print("one and two workers, then resumed | all outputs equal to an undisturbed run, ", end="")
    print("all sources unchanged, no temporary file left |")


MEASURES = {"throughput": (throughput, 200), "memory": (memory, 2000), "kill": (kill, 100)}


def main() -> None:
    """Run the measurement that is asked for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("measure", choices=MEASURES)
    parser.add_argument("count", type=int, nargs="?", help="files, or kills")
    parser.add_argument("--room", type=Path, help="folder to keep everything in")
    options = parser.parse_args()
    function, usual = MEASURES[options.measure]
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}", flush=True)
    with tempfile.TemporaryDirectory() as name:
        room = options.room or Path(name)
        room.mkdir(parents=True, exist_ok=True)
        function(room, options.count or usual)


if __name__ == "__main__":
    main()

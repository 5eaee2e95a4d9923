"""Folder runs measured: throughput by workers, memory over many files, kills and resumes.

    python benchmarks/folders.py throughput [FILES]   (200)
    python benchmarks/folders.py memory [FILES]       (2000)
    python benchmarks/folders.py kill [KILLS]         (100; a folder of 50 files)

Sources are small invented designs, made into a temporary folder.
"""

from __future__ import annotations

import hashlib
import os
import random
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
    seconds = {}
    for workers in (1, 2):
        begun = time.perf_counter()
        subprocess.run(
            command(room / "in", room / f"out{workers}", workers),
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        seconds[workers] = time.perf_counter() - begun
        print(
            f"{workers} workers: {seconds[workers]:.1f} s, {count / seconds[workers]:.2f} files/s"
        )
    print(f"two workers are {seconds[1] / seconds[2]:.2f} times one")
    print(f"two busy processes here get {gain_of_two():.2f} times the work of one done")
    print("same bytes:", hashes(room / "out1") == hashes(room / "out2"))


def memory(room: Path, count: int) -> None:
    """Peak memory of the run (and of its workers) at a tenth of the files and at the end."""
    import resource

    for files in (count // 10, count):
        part = room / f"in{files}"
        fill(part, files)
        before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        subprocess.run(
            command(part, room / f"out{files}", 2),
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        print(f"{files} files: peak {max(peak, before) / 1024:.0f} MiB in any process")


def kill(room: Path, kills: int) -> None:
    """Kill runs of a folder at random moments and resume them, until so many kills are done."""
    source = room / "in"
    fill(source, 50)
    sources = hashes(source)
    begun = time.perf_counter()
    subprocess.run(command(source, room / "calm", 1), check=True, capture_output=True)
    whole = time.perf_counter() - begun
    calm, chance, done, number = hashes(room / "calm"), random.Random(1), 0, 0
    print(f"undisturbed: {whole:.0f} s", flush=True)
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
        print(f"{done} kills: outputs equal, sources unchanged, nothing left over", flush=True)


def main() -> None:
    """Run the measurement that is asked for."""
    measure = {"throughput": (throughput, 200), "memory": (memory, 2000), "kill": (kill, 100)}
    if len(sys.argv) < 2 or sys.argv[1] not in measure:
        sys.exit(__doc__)
    function, usual = measure[sys.argv[1]]
    count = int(sys.argv[2]) if len(sys.argv) > 2 else usual
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as name:
        function(Path(name), count)


if __name__ == "__main__":
    main()

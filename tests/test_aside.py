"""Work set aside gives the same answer wherever it is done."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from restitch.aside import Told, forked, in_turn

FIXTURES = Path(__file__).parents[1] / "fixtures"

linux = pytest.mark.skipif(sys.platform != "linux", reason="copies are made on Linux only")


def alone(script: str) -> str:
    """What a script prints in a process of its own, without the threads of the test runner."""
    idle = (
        "import os\n"
        "import restitch.aside\n"
        "restitch.aside._others_running, os.sched_getaffinity = lambda: 0, lambda _: {0, 1}\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", idle + script], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


@linux
def test_a_copy_does_the_work_and_its_answer_comes_back() -> None:
    told = alone(
        "from restitch.aside import forked\n"
        "def work():\n"
        "    yield os.getpid()\n"
        "    yield list(range(100_000))\n"
        "with forked(work) as answers:\n"
        "    pid, numbers = answers\n"
        "print(pid != os.getpid(), sum(numbers))"
    )
    assert told == f"True {sum(range(100_000))}"


@linux
@pytest.mark.parametrize("failing", ["os._exit(3)", "1 / 0", "lambda: None"])
def test_what_a_copy_cannot_do_is_done_here(failing: str) -> None:
    """It ends, it raises, its answer cannot be sent."""
    told = alone(
        "from restitch.aside import forked\n"
        "here = os.getpid()\n"
        "def work():\n"
        "    yield 'first'\n"
        f"    yield 'here' if os.getpid() == here else {failing}\n"
        "with forked(work) as answers:\n"
        "    print(*answers)"
    )
    assert told == "first here"


@linux
def test_an_error_comes_from_here() -> None:
    told = alone(
        "from restitch.aside import forked\n"
        "try:\n"
        "    with forked(lambda: (1 / 0 for _ in 'x')) as answers:\n"
        "        next(answers)\n"
        "except ZeroDivisionError as error:\n"
        "    print(error)"
    )
    assert told == "division by zero"


@linux
def test_an_expected_failure_is_an_answer_and_the_work_is_not_done_twice(tmp_path: Path) -> None:
    told = alone(
        "from pathlib import Path\n"
        "from restitch.aside import forked\n"
        "from restitch.errors import UnreadableError\n"
        f"begun = Path({str(tmp_path / 'begun')!r})\n"
        "def work():\n"
        "    with begun.open('a') as file:\n"
        "        file.write('once')\n"
        "    yield 'opened'\n"
        "    raise UnreadableError('pier.dst: no stitches')\n"
        "try:\n"
        "    with forked(work) as answers:\n"
        "        list(answers)\n"
        "except UnreadableError as error:\n"
        "    print(error, begun.read_text(), int(error.exit_code))"
    )
    assert told == "pier.dst: no stitches once 3"


@linux
def test_work_that_nobody_waits_for_is_given_up() -> None:
    told = alone(
        "import time\n"
        "from restitch.aside import forked\n"
        "start = time.monotonic()\n"
        "with forked(lambda: map(time.sleep, [50])):\n"
        "    pass\n"
        "try:\n"
        "    os.waitpid(-1, 0)\n"
        "except ChildProcessError:\n"
        "    print('none left', time.monotonic() - start < 20)"
    )
    assert told == "none left True"


@pytest.mark.parametrize("aside", [in_turn, forked])
def test_beside_other_threads_the_work_is_done_in_turn(aside, monkeypatch) -> None:
    monkeypatch.setattr("threading.active_count", lambda: 2)
    done: list[str] = []
    with aside(lambda: map(done.append, ["one", "two"])) as answers:
        assert not done
        next(answers)
        assert done == ["one"]
    assert done == ["one"]


@linux
def test_a_copy_ends_when_nobody_is_left_to_listen() -> None:
    """It holds the output open: who reads that would wait for ever."""
    script = (
        "import os, time\n"
        "import restitch.aside\n"
        "restitch.aside._others_running, os.sched_getaffinity = lambda: 0, lambda _: {0, 1}\n"
        "from restitch.aside import forked\n"
        "def work():\n"
        "    time.sleep(0.3)\n"
        "    yield b'x' * 5_000_000\n"
        "with forked(work):\n"
        "    os.kill(os.getpid(), 9)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], stdout=subprocess.PIPE, timeout=30)
    assert done.returncode == -9


@linux
def test_what_a_copy_starts_ends_with_it() -> None:
    told = alone(
        "import subprocess, sys, time\n"
        "from restitch.aside import forked\n"
        "def work():\n"
        "    long = [sys.executable, '-c', 'import time; time.sleep(60)']\n"
        "    with subprocess.Popen(long, stdout=subprocess.DEVNULL) as started:\n"
        "        yield started.pid\n"
        "        started.wait()\n"
        "with forked(work) as answers:\n"
        "    started = next(answers)\n"
        "time.sleep(0.5)\n"
        "try:\n"
        "    state = open(f'/proc/{started}/stat').read().split()[2]\n"
        "except OSError:\n"
        "    state = 'gone'\n"
        "print(state in ('gone', 'Z'))"
    )
    assert told == "True"


@linux
@pytest.mark.parametrize("missing", ["fork", "pipe"])
def test_where_the_system_grants_no_copy_the_work_is_done_here(missing: str) -> None:
    told = alone(
        "from restitch.aside import forked\n"
        "def refused():\n"
        "    raise BlockingIOError(11, 'Resource temporarily unavailable')\n"
        f"os.{missing} = refused\n"
        "held = len(os.listdir('/proc/self/fd'))\n"
        "with forked(lambda: (os.getpid() for _ in 'x')) as answers:\n"
        "    print(next(answers) == os.getpid(), len(os.listdir('/proc/self/fd')) - held)"
    )
    assert told == "True 0"


@linux
@pytest.mark.parametrize(
    ("others", "cores", "way"), [(0, 2, "forked"), (2, 2, "in_turn"), (0, 1, "in_turn")]
)
def test_without_an_idle_core_the_work_is_done_in_turn(others: int, cores: int, way: str) -> None:
    told = alone(
        "import restitch.aside as aside\n"
        f"aside._others_running = lambda: {others}\n"
        f"os.sched_getaffinity = lambda _: set(range({cores}))\n"
        "print(aside.as_cores_allow().__name__)"
    )
    assert told == way


@linux
def test_with_one_core_nothing_is_forked() -> None:
    told = alone(
        "from restitch.aside import forked\n"
        "os.sched_getaffinity = lambda _: {0}\n"
        "with forked(lambda: (os.getpid() for _ in 'x')) as answers:\n"
        "    print(next(answers) == os.getpid())"
    )
    assert told == "True"


@linux
def test_without_a_pipe_nothing_is_heard_and_the_work_is_done_here() -> None:
    told = alone(
        "from restitch.aside import Told, forked\n"
        "pipe = os.pipe\n"
        "os.pipe = lambda: open('no/such/file')\n"
        "word = Told()\n"
        "os.pipe = pipe\n"
        "with word, forked(lambda: (word.heard() for _ in 'x')) as answers:\n"
        "    word.tell('knit')\n"
        "    print(*answers)"
    )
    assert told == "knit"


@linux
def test_a_rescue_reports_the_same_with_and_without_a_second_core(tmp_path: Path) -> None:
    """The whole report, word for word and figure for figure."""
    told = alone(
        "import json, sys\n"
        "from pathlib import Path\n"
        "from restitch.aside import forked, in_turn\n"
        "from restitch.fabrics import default_profile\n"
        "from restitch.report.document import document_of\n"
        "from restitch.rescue_file import Settings, rescue_file\n"
        "settings = Settings(default_profile('knit'), replace=True)\n"
        f"source = Path({str(FIXTURES / 'bakehouse.dst')!r})\n"
        f"target = Path({str(tmp_path / 'new.dst')!r})\n"
        "told = [document_of(rescue_file(source, target, settings, aside=aside).report)\n"
        "        for aside in (in_turn, forked)]\n"
        "print(json.dumps([json.dumps(t, default=str) for t in told]))"
    )
    first, second = json.loads(told)
    assert first == second


@linux
def test_a_copy_hears_what_is_told_after_it_began() -> None:
    told = alone(
        "from restitch.aside import Told, forked\n"
        "with Told() as word:\n"
        "    with forked(lambda: (f() for f in (os.getpid, word.heard, word.heard))) as answers:\n"
        "        other = next(answers) != os.getpid()\n"
        "        word.tell({'fabric': 'knit'})\n"
        "        print(other, *answers, word.heard())"
    )
    assert told == "True" + 3 * " {'fabric': 'knit'}"


def test_what_is_told_is_heard_in_turn_too() -> None:
    with Told() as word, in_turn(lambda: (word.heard() for _ in "ab")) as answers:
        word.tell("knit")
        assert list(answers) == ["knit", "knit"]


@linux
def test_a_copy_that_is_told_nothing_ends_with_its_listener() -> None:
    told = alone(
        "import time\n"
        "from restitch.aside import Told, forked\n"
        "begun = time.monotonic()\n"
        "with Told() as word, forked(lambda: (word.heard() for _ in 'x')):\n"
        "    time.sleep(0.1)\n"
        "print(time.monotonic() - begun < 5)"
    )
    assert told == "True"


@linux
def test_who_else_is_at_work_is_seen_at_once() -> None:
    """A load average would take a minute to tell."""
    told = alone(
        "import subprocess, sys, time\n"
        "from importlib import reload\n"
        "import restitch.aside as aside\n"
        "reload(aside)\n"
        "busy = [subprocess.Popen([sys.executable, '-c', 'while True: pass']) for _ in range(6)]\n"
        "time.sleep(0.5)\n"
        "most = max(aside._others_running() for _ in range(50))\n"
        "for one in busy: one.kill(), one.wait()\n"
        "print(most >= 6)"
    )
    assert told == "True"


@linux
@pytest.mark.parametrize("way", ["forked", "in_turn"])
def test_more_than_a_pipe_holds_is_told_without_waiting(way: str) -> None:
    """Nobody may listen, or whoever does may be waiting to be heard first."""
    told = alone(
        f"from restitch.aside import Told, {way}\n"
        "with Told() as word:\n"
        f"    with {way}(lambda: (f() for f in (lambda: bytes(3 << 20), word.heard))) as answers:\n"
        "        word.tell(bytes(range(256)) * (1 << 14))\n"
        "        print(*map(len, answers))"
    )
    assert told == f"{3 << 20} {4 << 20}"


@linux
def test_what_was_told_closes_no_other_file() -> None:
    """The numbers of files come again."""
    told = alone(
        "from restitch.aside import Told\n"
        "with Told() as word:\n"
        "    word.tell('knit')\n"
        "    files = [open(os.devnull) for _ in range(8)]\n"
        "print(*{os.fstat(file.fileno()).st_size for file in files})"
    )
    assert told == "0"

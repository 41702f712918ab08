"""The reading process: bounded in time and memory, unable to do harm, started anew when a file ends it."""

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest

from stylemeter.errors import InputError, LimitError, UnknownNameError
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import Reader
from stylemeter.reading.process.codec import unpack
from stylemeter.reading.process.parent import ReadingProcess

HERE = Path(__file__).resolve().parent
MISBEHAVING = Reader("misbehaving", (), "test")


@pytest.fixture(scope="module")
def process():
    """One for all: whatever a file does to it, the next one is served."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(HERE / "readers_that_misbehave"))
        process = ReadingProcess()
        yield process
        process.close()


@pytest.fixture
def fresh(monkeypatch):
    """One that has not started."""
    monkeypatch.syspath_prepend(str(HERE / "readers_that_misbehave"))
    process = ReadingProcess()
    yield process
    process.close()


def ask(process, deed, options=None):
    [melody] = unpack(process.read(MISBEHAVING, deed.encode(), options or ReadOptions()))
    return melody


def gone(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


def test_it_hands_over_what_was_read_and_serves_again(process):
    first, second = ask(process, "pid"), ask(process, "pid")
    assert first.pitch.tolist() == [60, 62, 64, 65, 67, 69, 71, 72]
    assert first.title == second.title == str(process.pid)
    assert process.pid != os.getpid()


def test_options_cross(process):
    options = ReadOptions(part="Gïtarre\x1b", columns=("onset", "pitch"), first_beat=0.5)
    assert ask(process, "part", options).title == repr(options)


@pytest.mark.parametrize("deed", ["hang_in_c", "spin"])
def test_a_hanging_file_is_ended_in_time_and_the_next_one_is_read(process, monkeypatch, deed):
    """What spins is ended by its processor time, what sleeps by the clock: `limits.PATIENCE` times as long."""
    ask(process, "pid")
    before = process.pid
    monkeypatch.setenv("STYLEMETER_SECONDS", "0.25")
    with pytest.raises(LimitError, match=r"took longer than 0\.25 s to read"):
        ask(process, deed)
    assert not process.started
    assert gone(before)
    assert ask(process, "number 2").title == "2"


def test_memory_is_bounded(fresh, monkeypatch):
    monkeypatch.setenv("STYLEMETER_MEMORY_MB", "400")
    with pytest.raises(LimitError, match="more than 400 MiB of memory"):
        ask(fresh, "eat_memory")
    assert ask(fresh, "number 2").title == "2"


def test_a_file_does_not_pay_for_the_memory_of_those_before_it(fresh, monkeypatch):
    monkeypatch.setenv("STYLEMETER_MEMORY_MB", "600")
    ask(fresh, "keep 250")
    before = fresh.pid
    assert len(ask(fresh, "need 300")) == 8  # does not fit beside what was kept: read again in a fresh process
    assert fresh.pid != before


@pytest.mark.parametrize(
    ("deed", "words"),
    [
        ("crash", "broke the reading process (signal 11)"),
        ("leave", "broke the reading process (exit code 3)"),
        ("system_exit", "broke the reading process (exit code 1)"),
        ("recurse", "nested too deeply"),
        ("unforeseen", "broke the reader (KeyError"),
        ("bare", "broke the reader (TypeError"),
        ("not-a-deed", "broke the reader (KeyError"),
    ],
)
def test_a_breakdown_is_one_line_and_the_next_file_is_read(process, deed, words):
    with pytest.raises(InputError) as caught:
        ask(process, deed)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert ask(process, "number 2").title == "2"


def test_a_readers_own_error_arrives_with_its_parts_and_class(process):
    with pytest.raises(UnknownNameError) as caught:
        ask(process, "refuse")
    assert caught.value.where == "bar 3"
    with pytest.raises(InputError, match="bar 3: no notes; look"):
        ask(process, "refuse_input")
    assert process.started  # an error is no reason to start anew


def test_nothing_of_the_child_reaches_our_streams(process, capfd):
    assert len(ask(process, "chatter")) == 8
    assert ask(process, "ask_input").title == "b''"
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("deed", ["launch", "system", "unpickle", "write"])
def test_a_reader_can_not_act_on_the_machine(process, tmp_path, deed):
    canary = tmp_path / "canary"
    with pytest.raises(InputError, match=r"broke the reader .FencedError"):
        ask(process, f"{deed} {canary}")
    assert not canary.exists()


def test_a_reader_can_not_look_remove_or_fetch(process, tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("secret")
    for deed in (f"look {secret}", f"remove {secret}", "look /etc/passwd"):
        with pytest.raises(InputError, match=r"broke the reader .FencedError"):
            ask(process, deed)
    assert secret.read_text() == "secret"
    with pytest.raises(InputError, match=r"broke the reader .*FencedError"):
        ask(process, "fetch http://localhost:9/")


def test_a_reader_can_not_look_round_the_working_folder(fresh, tmp_path, monkeypatch):
    # `python -m stylemeter.cli` puts it on the path of modules, whose folders a reader may open
    secret = tmp_path / "secret"
    secret.write_text("secret")
    monkeypatch.chdir(tmp_path)
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(InputError, match=r"broke the reader .FencedError"):
        ask(fresh, f"look {secret}")


def test_closing_leaves_no_process(fresh):
    ask(fresh, "pid")
    pid = fresh.pid
    fresh.close()
    fresh.close()
    assert gone(pid)


def test_a_process_that_can_not_start_says_so(fresh, monkeypatch):
    monkeypatch.setenv("STYLEMETER_MEMORY_MB", "20")
    with pytest.raises(InputError, match=r"could not start .*STYLEMETER_MEMORY_MB"):
        ask(fresh, "pid")


def test_a_large_file_and_a_large_answer_cross_whole(process):
    assert ask(process, "size " + "x" * (3 * 2**20)).title == str(3 * 2**20)
    assert len(unpack(process.read(MISBEHAVING, b"many 3000", ReadOptions()))) == 3000


def test_no_descriptor_is_left_open(fresh):
    ask(fresh, "pid")
    fresh.close()
    before = len(list(Path("/proc/self/fd").iterdir()))
    for _ in range(3):
        ask(fresh, "pid")
        fresh.close()
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_the_child_ends_when_its_parent_is_killed(tmp_path):
    code = (
        "import sys, os, signal\n"
        f"sys.path.insert(0, {str(HERE / 'readers_that_misbehave')!r})\n"
        "from stylemeter.reading.process.parent import ReadingProcess\n"
        "from stylemeter.reading.kinds import Reader\n"
        "from stylemeter.reading.intake.options import ReadOptions\n"
        "process = ReadingProcess()\n"
        "process.read(Reader('misbehaving', (), ''), b'pid', ReadOptions())\n"
        "print(process.pid, flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    pid = int(done.stdout)
    deadline = time.monotonic() + 5
    while not _ended(pid) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert _ended(pid)


def _ended(pid):
    """Whether a process is gone, or waits only for its adopted parent to notice."""
    try:
        status = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return True
    return status == "Z"


UNGUARDED = """
import sys
sys.path.insert(0, {path!r})
print("main runs", flush=True)
from stylemeter.reading.process.parent import ReadingProcess
from stylemeter.reading.kinds import Reader
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.process.codec import unpack
process = ReadingProcess()
print(unpack(process.read(Reader("misbehaving", (), ""), b"number 7", ReadOptions()))[0].title)
"""


@pytest.mark.parametrize("how", ["script", "interactive", "standard input", "closed streams"])
def test_the_users_main_module_runs_once(tmp_path, how):
    code = UNGUARDED.format(path=str(HERE / "readers_that_misbehave"))
    script = tmp_path / "plain.py"
    script.write_text(code)
    command = {
        "script": [sys.executable, str(script)],
        "interactive": [sys.executable, "-i", "-q"],
        "standard input": [sys.executable, "-"],
        "closed streams": ["sh", "-c", f"exec '{sys.executable}' '{script}' 0<&- 2>&-"],
    }[how]
    told = code if how in ("interactive", "standard input") else None
    done = subprocess.run(command, input=told, capture_output=True, text=True, check=False, cwd=tmp_path, timeout=60)
    assert done.stdout.split() == ["main", "runs", "7"], done.stderr


def test_memory_of_this_process_is_left_as_it_was(process):
    before = resource.getrlimit(resource.RLIMIT_AS)
    ask(process, "pid")
    assert resource.getrlimit(resource.RLIMIT_AS) == before

"""The reading process itself: takes bytes on one pipe, answers note tables as JSON on another.

It is run as a program by `parent.ReadingProcess`, in an interpreter of its own, never imported by it. It gets bytes,
never a path, and everything that crosses is JSON or raw bytes: neither side unpickles anything.

Frames: eight bytes of length (big-endian), then as many bytes. First the setup, ``{"path", "memory", "parent"}``;
then for each file a job, ``{"modules", "options", "seconds"}`` (the last module is the reader), and the file's
bytes. Answered by ``{"begun": true}`` once the modules are loaded (the clocks start then), and by one of
``{"read": true}`` with `codec.pack`'s document behind it, ``{"error": [class, what, where, mend]}`` or
``{"memory": true}``. A child that uses up its processor seconds is ended by the kernel (``SIGPROF``).
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import json
import os
import signal
import sys
import threading
import time
import warnings
from typing import Any

#: What no reader does: launch, call out, unpickle, change files. Names of the interpreter's audit events.
FORBIDDEN = frozenset(
    {
        "os.chmod",
        "os.chown",
        "os.exec",
        "os.fork",
        "os.forkpty",
        "os.kill",
        "os.link",
        "os.mkdir",
        "os.posix_spawn",
        "os.putenv",
        "os.remove",
        "os.rename",
        "os.rmdir",
        "os.symlink",
        "os.system",
        "os.truncate",
        "os.unsetenv",
        "pickle.find_class",
        "pty.spawn",
        "shutil.rmtree",
        "socket.__new__",
        "socket.connect",
        "socket.getaddrinfo",
        "subprocess.Popen",
        "urllib.Request",
        "webbrowser.open",
    }
)

#: How often it looks whether the parent is still there.
GLANCE_SECONDS = 0.5


class FencedError(PermissionError):
    """A reader tried to do what no reader may; a library that can do without it goes on."""


class Fence:
    """While raised, nothing is launched, sent, unpickled or written, and only the program's own files are opened.

    A second line behind the readers' own care: an audit hook of the interpreter.

    Parameters
    ----------
    roots : list of str
        Folders in which files may be opened for reading: the interpreter's and the packages'.
    """

    def __init__(self, roots: list[str]) -> None:
        whole = {os.path.realpath(root) for root in roots} | {os.path.abspath(root) for root in roots}  # noqa: PTH100
        self._roots = tuple(sorted(root.rstrip("/") + "/" for root in whole))
        self.raised = False
        watched = FORBIDDEN | {"open"}

        def check(event: str, args: tuple[Any, ...]) -> None:
            # called thousands of times a file, nearly always for what is of no interest: that first
            if event in watched and self.raised:
                self._refuse(event, args)

        sys.addaudithook(check)

    def _refuse(self, event: str, args: tuple[Any, ...]) -> None:
        if event != "open":
            raise FencedError(event)
        if not self._may_open(*args):
            raise FencedError(f"open {args[0]!r:.200}")

    def _may_open(self, path: object, mode: object, flags: object) -> bool:
        """Whether a file may be opened: one of ours, to read; a descriptor has passed here before."""
        if isinstance(path, int):
            return True
        writes = (isinstance(mode, str) and bool(set(mode) & set("wax+"))) or (
            isinstance(flags, int) and bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))
        )
        if not isinstance(path, (str, bytes)):
            return False
        name = os.path.abspath(os.fsdecode(path))  # noqa: PTH100 - no imports in here
        return not writes and name.startswith(self._roots)


def main() -> None:
    """Serve until the parent closes its end."""
    request, answer = _private_pipes()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    warnings.simplefilter("ignore")
    setup = json.loads(_take(request))
    _limit_memory(setup["memory"])
    threading.Thread(target=_end_with, args=(setup["parent"],), daemon=True).start()
    sys.path[:] = setup["path"]
    fence = Fence([*setup["path"], sys.prefix, sys.base_prefix, sys.exec_prefix, sys.base_exec_prefix])
    while True:
        job = json.loads(_take(request))
        data = _take(request)
        _give(answer, *_answers(job, data, fence, answer))


def _answers(job: dict[str, Any], data: bytes, fence: Fence, answer: int) -> list[bytes]:
    """Read one file: the frames to answer with."""
    try:
        module = _load(["stylemeter.reading.process.codec", *job["modules"]])
        options = _options(job["options"])
    except Exception as error:  # noqa: BLE001 - a library that lacks memory while it loads raises whatever it likes
        what = f"can't be read: its reader could not start ({type(error).__name__}: {error!s:.200})"
        mend = "install what is missing, or allow more memory with STYLEMETER_MEMORY_MB"
        return [_error("InputError", what, "", mend)]
    _give(answer, b'{"begun": true}')
    return _outcome(module, data, options, fence, job["seconds"])


def _options(wishes: dict[str, Any]) -> Any:
    """The reader's options from their plain form."""
    from stylemeter.reading.intake.options import ReadOptions

    return ReadOptions(**wishes | {"columns": wishes["columns"] and tuple(wishes["columns"])})


def _outcome(module: Any, data: bytes, options: Any, fence: Fence, seconds: float) -> list[bytes]:
    """The frames that tell what became of a file."""
    from stylemeter.errors import StylemeterError

    try:
        return [b'{"read": true}', _read(module, data, options, fence, seconds)]
    except StylemeterError as error:
        return [_error(type(error).__name__, error.what, error.where, error.mend)]
    except MemoryError:
        return [b'{"memory": true}']
    except RecursionError:
        return [_error("InputError", "is nested too deeply to read", "", "export it again")]
    except Exception as error:  # noqa: BLE001 - the edge of the process: whatever else happens is told in one line
        what = f"broke the reader ({type(error).__name__}: {error!s:.200})"
        return [_error("InputError", what, "", "export it again or in another format, and report it")]


def _read(module: Any, data: bytes, options: Any, fence: Fence, seconds: float) -> bytes:
    """The melodies of a file as JSON."""
    from stylemeter.reading.process.codec import pack

    signal.setitimer(signal.ITIMER_PROF, seconds)
    fence.raised = True
    try:
        return pack(module.read(data, options)).encode("ascii")
    finally:
        fence.raised = False
        signal.setitimer(signal.ITIMER_PROF, 0)


def _end_with(parent: int) -> None:
    """End this process when its parent is gone, whatever it is reading."""
    while os.getppid() == parent:
        time.sleep(GLANCE_SECONDS)
    os._exit(0)


def _load(modules: list[str]) -> Any:
    """Import modules; the last one is returned. What they leave is kept out of later garbage collections."""
    fresh = [name for name in modules if name not in sys.modules]
    found = [importlib.import_module(name) for name in modules]
    if fresh:
        gc.freeze()
    return found[-1] if found else None


def _error(kind: str, what: str, where: str, mend: str) -> bytes:
    """The frame that tells an error."""
    return json.dumps({"error": [kind, what, where, mend]}).encode("ascii")


def _private_pipes() -> tuple[int, int]:
    """The pipes, moved away from standard input and output, where libraries could talk into them."""
    request, answer = os.dup(0), os.dup(1)
    nowhere = os.open(os.devnull, os.O_RDWR)
    for standard in (0, 1, 2):
        os.dup2(nowhere, standard)
    return request, answer


def _limit_memory(most: int) -> None:
    """Bound the address space and forbid core dumps, as far as the system lets us."""
    import resource

    for what, value in ((resource.RLIMIT_AS, most), (resource.RLIMIT_CORE, 0)):
        with contextlib.suppress(OSError, ValueError):
            hard = resource.getrlimit(what)[1]
            new = value if hard == resource.RLIM_INFINITY else min(value, hard)
            resource.setrlimit(what, (new, new))


def _take(pipe: int) -> bytes:
    """The next frame; ends the process where the parent is gone."""
    return _exactly(pipe, int.from_bytes(_exactly(pipe, 8), "big"))


def _exactly(pipe: int, count: int) -> bytes:
    """So many bytes."""
    parts = []
    while count:
        part = os.read(pipe, min(count, 2**20))
        if not part:
            os._exit(0)
        parts.append(part)
        count -= len(part)
    return b"".join(parts)


def _give(pipe: int, *frames: bytes) -> None:
    """Send frames in one go (the parent wakes once); ends the process where the parent is gone."""
    rest = memoryview(b"".join(len(frame).to_bytes(8, "big") + frame for frame in frames))
    try:
        while rest:
            rest = rest[os.write(pipe, rest) :]
    except OSError:
        os._exit(0)


if __name__ == "__main__":
    main()

"""A reader whose input says how to misbehave; loaded in the reading process by test_worker.py."""

import ctypes
import os
import pickle
import subprocess
import sys
import time
import urllib.request
import warnings
from pathlib import Path

from stylemeter.errors import InputError, UnknownNameError
from stylemeter.reading.draft.build import Draft, RawNote, build

KEPT = []


def scale(**more):
    notes = [RawNote(10080 * i, 10080, 60.0 + step) for i, step in enumerate((0, 2, 4, 5, 7, 9, 11, 12))]
    return [build(Draft(notes, source="test", **more))]


def read(data, options):
    word, _, rest = data.decode().partition(" ")
    return DEEDS[word](rest, options)


def hang_in_c(rest, options):
    time.sleep(60)


def spin(rest, options):
    while True:
        pass


def eat_memory(rest, options):
    held = []
    while True:
        held.append(bytearray(16 * 2**20))


def keep(rest, options):
    KEPT.append(bytearray(int(rest) * 2**20))
    return scale()


def need(rest, options):
    bytearray(int(rest) * 2**20)
    return scale()


def recurse(rest, options):
    return recurse(rest, options)


def crash(rest, options):
    ctypes.string_at(0)


def leave(rest, options):
    os._exit(3)


def system_exit(rest, options):
    sys.exit("gone")


def unforeseen(rest, options):
    raise KeyError("part\x1b[2J")


def refuse(rest, options):
    raise UnknownNameError.among("part", "Flute\x1b[31m", ["Guitar\u202e"]).at("bar 3")


def refuse_input(rest, options):
    raise InputError("no notes", where="bar 3", mend="look")


def chatter(rest, options):
    sys.stdout.write("to standard output")
    sys.stderr.write("to standard error")
    os.write(1, b"straight to the descriptor" * 1000)
    warnings.warn("a warning", stacklevel=1)
    return scale()


def ask_input(rest, options):
    return scale(title=f"{os.read(0, 100)!r}")


def launch(rest, options):
    subprocess.run(["touch", rest], check=False)
    return scale()


def system(rest, options):
    os.system(f"touch {rest}")
    return scale()


def unpickle(rest, options):
    class Canary:
        def __reduce__(self):
            return (open, (rest, "w"))

    pickle.loads(pickle.dumps(Canary()))
    return scale()


def write(rest, options):
    Path(rest).write_text("x")
    return scale()


def remove(rest, options):
    Path(rest).unlink()
    return scale()


def look(rest, options):
    return scale(title=Path(rest).read_text())


def fetch(rest, options):
    urllib.request.urlopen(rest)
    return scale()


def number(rest, options):
    return scale(title=rest)


def size(rest, options):
    return scale(title=str(len(rest)))


def many(rest, options):
    return scale() * int(rest)


def pid(rest, options):
    return scale(title=str(os.getpid()))


def part(rest, options):
    return scale(title=repr(options))


def bare(rest, options):
    return None


def main_module(rest, options):
    return scale(title=str(getattr(sys.modules["__main__"], "__file__", None)))


DEEDS = {name: deed for name, deed in globals().items() if callable(deed)}

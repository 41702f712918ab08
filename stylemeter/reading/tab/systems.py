"""Finding the systems of a text tablature: which lines are strings, how they are labelled, where the bar lines are.

Conventions: lines count from 1, columns from 0. A string is a line of mostly dashes; a system is four to eight of them
one under the other, or two or three that are named (the others are not played). The bars of a system are the same
number on every string.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, groupby, pairwise

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.draft.build import count_words
from stylemeter.reading.intake.limits import BARS_MAX

__all__ = ["System", "TabBar", "find_systems"]

#: Lines of one file, and characters of one line.
LINES_MAX, LINE_MAX = 50_000, 2_000
#: Strings of one instrument.
FEWEST, MOST = 4, 8
#: Names of a guitar's strings from the top line down, to which two or three named ones belong.
_GUITAR = ("e", "B", "G", "D", "A", "E")
#: Columns by which the strings of a system may differ in length.
_RAGGED = 2
#: Strings of most instruments in tablature.
_USUAL = 6

_LABEL = re.compile(r"\s*(?P<label>[A-Ha-h][#b♯♭]?\d?(?=\s*[|:\-‖])|[1-8](?=\s*[|‖]))?\s*(?P<body>[|:\-‖].*)")
#: A name with a fret behind it and no line between.
_LABEL_FRET = re.compile(r"\s*(?P<label>[A-Ha-h][#b♯♭]?)\s+(?P<body>\d{1,2}[-hpbr/\\~^(].*)")
#: A remark behind the last bar line, as against strings that go on.
_REMARK = re.compile(r"[A-Za-z]{3}|\bx\s?\d|\d\s?x\b|[(\[*<\"']")
_GOES_ON = re.compile(r"--|-\d|\d-")
_BODY = re.compile(r"[-\d\s|‖:*.,=_~^/\\()<>\[\]{}½¼¾+'\"°hHpPbBrRxXsStTvVoOfFuUlLmMgGkKdDnN]+")
_LINE = re.compile(r"[|‖]+")
#: A line that looks like a string, whatever stands on it.
_LIKE = re.compile(r"(?:[^\w|]|&nbsp;|\[\w{1,8}\]|<\w{1,8}>)*(?P<label>[A-Ha-h][#b♯♭]?\d?\s*)?[|:‖](?P<body>.*)")
_REPEAT = re.compile(r"[|‖][:*o]|[:*o][|‖]|\bx\s?\d\b|\b\d\s?x\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class TabBar:
    """One bar of a system.

    Attributes
    ----------
    strings : tuple of str
        What stands on each string, top line first, all equally long.
    column : int
        Column of the text where the bar begins on its top line.
    """

    strings: tuple[str, ...]
    column: int

    @property
    def width(self) -> int:
        """Columns of the bar."""
        return len(self.strings[0])


@dataclass(frozen=True, slots=True)
class System:
    """One system.

    Attributes
    ----------
    line, last_line : int
        Lines of the file its top and bottom string are on.
    labels : tuple of str
    bars : tuple of TabBar
    barred : bool
        Whether it has bar lines; without them all of it is one `TabBar`.
    repeats : bool
        Whether something in it is to be played again.
    """

    line: int
    last_line: int
    labels: tuple[str, ...]
    bars: tuple[TabBar, ...]
    barred: bool = True
    repeats: bool = False


@dataclass(frozen=True, slots=True)
class _String:
    """A line that is a string."""

    line: int
    label: str
    body: str
    column: int
    after: str


def find_systems(lines: Sequence[str]) -> tuple[list[System], list[str]]:
    """Find the systems of a tablature.

    Parameters
    ----------
    lines : sequence of str
        Of the file, tab characters resolved.

    Returns
    -------
    systems : list of System
    remarks : list of str

    Raises
    ------
    InputError
        If there are none, or the strings of one don't fit together: with the line.
    """
    if len(lines) > LINES_MAX or any(len(line) > LINE_MAX for line in lines):
        raise LimitError(f"more than {LINES_MAX} lines, or one of more than {LINE_MAX} characters", mend="cut the file")
    strings = [_string(number, text) for number, text in enumerate(lines, 1)]
    systems: list[System] = []
    remarks: list[str] = _drop_brackets(strings)
    _check_gaps(lines, strings)
    blocks = [
        [s for s in group if s is not None] for there, group in groupby(strings, key=lambda s: s is not None) if there
    ]
    names = next((n for b in blocks if len(b) == _USUAL and all(n := [s.label for s in b])), list(_GUITAR))
    for found in _closed_up(blocks, names, lines):
        block = _filled(found, names)
        if len(block) < FEWEST and any(re.search(r"\d", s.body) for s in block):
            remarks.append(f"lines {block[0].line} to {block[-1].line} left out: fewer than {FEWEST} strings")
        elif len(block) >= FEWEST:
            systems += [_system(part) for part in _parts(block)]
    if not systems:
        mend = "write each string on its own line, like e|--0--3--|, four to eight one under the other"
        raise InputError("no tablature in it", mend=mend)
    if sum(len(system.bars) for system in systems) > BARS_MAX:
        raise LimitError(f"more than {BARS_MAX} bars", mend="cut the file")
    return systems, remarks


def _string(number: int, text: str) -> _String | None:
    """A line as a string, None where it isn't one."""
    found = _LABEL.fullmatch(text.rstrip()) or _LABEL_FRET.fullmatch(text.rstrip())
    if not found:
        return None
    body = found["body"]
    end = _end(body)
    strings, after = body[:end], body[end:].strip()
    # A last fret may stand without a dash behind it; words stand apart.
    last = re.match(r"\S*", body[end:])
    if strings.endswith("-") and last and _BODY.fullmatch(last[0]):
        strings, after = body[: end + last.end()], body[end + last.end() :].strip()
    elif strings.endswith("-") and re.fullmatch(r"[\d~hpbrx/\\.()]+", after):
        strings, after = body, ""
    dashes = strings.count("-")
    plain = dashes + len(re.findall(r"[\d|‖]", strings))
    if dashes < 2 or plain * 2 < len(strings) or not _BODY.fullmatch(strings):
        return None
    return _String(number, found["label"] or "", strings, found.start("body"), after)


def _end(body: str) -> int:
    """Where a string ends: at its last bar line if a remark stands behind it, else with its last dash or bar line."""
    last = max(body.rfind(mark) for mark in "|‖-") + 1
    for line in reversed(list(_LINE.finditer(body))):
        after = body[line.end() :]
        if _BODY.fullmatch(body[: line.end()]) and "-" in body[: line.start()]:
            return line.end() if _REMARK.search(after) and not _GOES_ON.search(after) else last
    return last


def _closed_up(blocks: Sequence[list[_String]], names: Sequence[str], lines: Sequence[str]) -> list[list[_String]]:
    """Blocks, with the strings of one system that stand apart by blank lines put together."""
    closed: list[list[_String]] = []
    for block in blocks:
        before = closed[-1] if closed else []
        labels = [s.label for s in (*before, *block)]
        between = lines[before[-1].line : block[0].line - 1] if before else ["-"]
        # a system's beginning, and what follows it in the order of its strings
        if 1 < len(labels) <= len(names) and _alike(names[: len(labels)], labels) and not "".join(between).strip():
            before += block
        else:
            closed.append(list(block))
    return closed


def _filled(block: list[_String], names: Sequence[str]) -> list[_String]:
    """Two or three named strings with the strings that are not played above, between and below them."""
    labels = [s.label for s in block]
    if len(block) not in (2, 3) or not all(labels):
        return block
    # the same letter may name the top and the bottom string: strings next to one another are the likelier ones
    wanted = sorted(
        (p for p in combinations(range(len(names)), len(block)) if _alike([names[i] for i in p], labels)),
        key=lambda p: (p[-1] - p[0], [names[i] for i in p] != labels, p),
    )
    if not wanted:
        return block
    empty = re.sub(r"[^|‖]", "-", block[0].body)
    there = dict(zip(wanted[0], block, strict=True))
    return [there.get(i) or _String(block[0].line, name, empty, block[0].column, "") for i, name in enumerate(names)]


def _alike(names: Sequence[str], labels: Sequence[str]) -> bool:
    """Whether strings are named so, capital letters or small."""
    return [n.casefold() for n in names] == [label.casefold() for label in labels]


def _drop_brackets(strings: list[_String | None]) -> list[str]:
    """Take lines out that only look like strings: brackets and rules over or under strings that have labels."""
    remarks = []
    runs = [(key, list(run)) for key, run in groupby(range(len(strings)), key=lambda i: _naming(strings[i]))]
    for place, (naming, run) in enumerate(runs):
        beside = [runs[i] for i in (place - 1, place + 1) if 0 <= i < len(runs)]
        named = [len(other) for key, other in beside if key == "named"]
        if naming == "bare" and len(run) < FEWEST and named and min(named) >= FEWEST:
            left_out = [] if _sixth(run, [i for _, other in beside for i in other], strings) else run
        elif naming == "bare" and not named and _USUAL < len(run) <= MOST:
            left_out = _alien(run, strings)
        else:
            continue
        for index in left_out:
            strings[index] = None
            remarks.append(f"line {index + 1} left out: not like the strings beside it")
    return remarks


def _sixth(run: Sequence[int], beside: Sequence[int], strings: Sequence[_String | None]) -> bool:
    """Whether a line without a label is the sixth string to five with one: as long as they are, or ending there."""
    six = [s for i in (*run, *beside) if (s := strings[i]) is not None]
    lengths, ends = ([len(s.body) for s in six], [s.column + len(s.body) for s in six])
    return len(six) == _USUAL and len(run) == 1 and (lengths[0] in lengths[1:] or ends[0] in ends[1:])


def _alien(run: Sequence[int], strings: Sequence[_String | None]) -> list[int]:
    """The outer lines of a system without labels that begin and end elsewhere than the six strings within."""
    shapes = {i: (s.column, len(s.body)) for i in run if (s := strings[i]) is not None}
    shape, count = Counter(shapes.values()).most_common(1)[0]
    others = [i for i in run if shapes[i][0] != shape[0] and shapes[i][1] != shape[1]]
    within = [i for i in run if i not in others]
    together = within[-1] - within[0] == _USUAL - 1
    return others if count == _USUAL == len(within) and together else []


def _naming(string: _String | None) -> str:
    """Whether a line is a string with a label, one without, or none."""
    return "" if string is None else "named" if string.label else "bare"


def _check_gaps(lines: Sequence[str], strings: Sequence[_String | None]) -> None:
    """Refuse a string that can't be read amid those that can: without it they would be another instrument's."""
    for number, (text, string) in enumerate(zip(lines, strings, strict=True), 1):
        like = None if string else _LIKE.fullmatch(text.strip())
        # A dash or two stand in words too.
        if not like or like["body"].count("-") < 3:
            continue
        beside = _run(strings[number:]) + _run(strings[number - 2 :: -1] if number > 1 else [])
        if beside < FEWEST - 1 if like["label"] else beside != _USUAL - 1:
            continue
        # A heading ("A: --- verse ---") over six strings is none; a seventh is as long as they are.
        near = next(s for i in (number, number - 2) if 0 <= i < len(strings) and (s := strings[i]))
        if beside == _USUAL and abs(len(text.rstrip()) - near.column - len(near.body)) > _RAGGED:
            continue
        odd = re.sub(r"\s+", " ", "".join(dict.fromkeys(_BODY.sub("", like["body"]))))[:20].strip()
        odd = odd or text.strip()[: like.start("body")][-20:]
        what = f"a string that can't be read ({odd!r} stands on it)"
        mend = "take out what is no fret or sign of playing, or put it on a line of its own"
        raise InputError(what, where=f"line {number}", mend=mend)


def _run(strings: Sequence[_String | None]) -> int:
    """How many strings stand in front."""
    return next((i for i, string in enumerate(strings[:MOST]) if string is None), min(len(strings), MOST))


def _parts(block: list[_String]) -> list[list[_String]]:
    """Systems that stand one under the other without a line between."""
    if len(block) <= MOST:
        return [block]
    first = [s.label for s in block]
    whole = [i for i in range(len(block) - 5) if _alike(_GUITAR, first[i : i + 6])]
    if whole and whole[0] == 0 and len(block) % _USUAL:
        # a guitar's strings over those of another instrument
        edges = sorted({e for i in whole for e in (i, i + _USUAL)} | {len(block)})
        if all(FEWEST <= b - a <= MOST for a, b in pairwise(edges)):
            return [block[a:b] for a, b in pairwise(edges)]
    sizes = [n for n in (6, 4, 7, 5, 8) if len(block) % n == 0]
    alike = [n for n in sizes if all(first[i] == first[i % n] for i in range(len(first)))]
    if not (alike or sizes):
        mend = "part the systems by blank lines, each of four to eight strings"
        raise InputError(f"{len(block)} strings one under the other", where=f"line {block[0].line}", mend=mend)
    size = (alike or sizes)[0]
    return [block[i : i + size] for i in range(0, len(block), size)]


def _system(block: list[_String]) -> System:
    """The system of some strings."""
    cells = [_cells(string) for string in block]
    counts = [len(row) for row in cells]
    usual = max(sorted(set(counts)), key=counts.count)
    for string, count in zip(block, counts, strict=True):
        if count != usual:
            what = f"{count_words(count, 'bar')} on this string, {usual} on the others"
            raise InputError(what, where=f"line {string.line}", mend="put the bar lines under one another")
    bars = []
    for place in range(usual):
        parts = [row[place][1] for row in cells]
        width = max(map(len, parts))
        bars.append(TabBar(tuple(part.ljust(width, "-") for part in parts), cells[0][place][0]))
    repeats = any(_REPEAT.search(string.body) or _REPEAT.search(string.after) for string in block)
    barred = any(_LINE.search(string.body.lstrip("|‖")) for string in block)
    lines = [string.line for string in block]
    return System(min(lines), max(lines), tuple(s.label for s in block), tuple(bars), barred, repeats)


def _cells(string: _String) -> list[tuple[int, str]]:
    """Column and content of each bar of a string; what stands only between double bar lines is none."""
    cells = []
    start = 0
    for line in [*_LINE.finditer(string.body), None]:
        end = line.start() if line else len(string.body)
        content = string.body[start:end]
        if content.strip(" :*o."):
            cells.append((string.column + start, content))
        start = line.end() if line else end
    return cells

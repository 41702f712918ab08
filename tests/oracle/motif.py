"""Family *motif*."""

from __future__ import annotations

from oracle.registry import evidence, feature
from oracle.terms import intervals, iois, once, phrases, ratio


def figure_starts(table):
    """Starts i whose four notes i..i+3 lie inside one phrase."""
    return [i for phrase in phrases(table) for i in phrase if i + 3 in phrase]


def pairs(table, i):
    k, ioi = intervals(table), iois(table)
    return [(k[j], ioi[j]) for j in (i, i + 1, i + 2)]


def is_plain(figure):
    """Three steps the same way with one IOI, or three repeated notes."""
    steps = [k for k, _ in figure]
    one_ioi = len({ioi for _, ioi in figure}) == 1
    if all(k == 0 for k in steps):
        return True
    same_way = all(k in (1, 2) for k in steps) or all(k in (-1, -2) for k in steps)
    return same_way and one_ioi


def size_class(k):
    if k == 0:
        return 0
    size = 1 if abs(k) <= 2 else 2 if abs(k) <= 4 else 3
    return size if k > 0 else -size


def notes_that_occur_again(keys):
    """Notes of every start that has the same key at another start at least four notes away."""
    chosen = set()
    for i in keys:
        for j in keys:
            if abs(i - j) >= 4 and keys[i] == keys[j]:
                chosen |= {i, i + 1, i + 2, i + 3}
                break
    return chosen


@once
def figures(table):
    """start -> figure, plain ones left out."""
    found = {}
    for i in figure_starts(table):
        figure = tuple(pairs(table, i))
        if not is_plain(figure):
            found[i] = figure
    return found


@evidence("motif_coverage")
@once
def motif_notes(table):
    return notes_that_occur_again(figures(table))


@evidence("varied_repeat_share")
def varied_notes(table):
    outlines = {i: tuple((size_class(k), ioi) for k, ioi in figure) for i, figure in figures(table).items()}
    return notes_that_occur_again(outlines) - motif_notes(table)


@evidence("rhythm_figure_coverage")
def rhythm_figure_notes(table):
    rhythms = {i: tuple(ioi for _, ioi in pairs(table, i)) for i in figure_starts(table)}
    return notes_that_occur_again({i: r for i, r in rhythms.items() if len(set(r)) > 1})


@feature("motif")
def motif_coverage(table):
    return ratio(len(motif_notes(table)), len(table["notes"]))


@feature("motif")
def varied_repeat_share(table):
    return ratio(len(varied_notes(table)), len(table["notes"]))


@feature("motif")
def rhythm_figure_coverage(table):
    return ratio(len(rhythm_figure_notes(table)), len(table["notes"]))


def occurs_in(part, whole):
    """Whether a list is a stretch of another."""
    return any(whole[s : s + len(part)] == part for s in range(len(whole) - len(part) + 1))


def components(sequence):
    """LZ76: each component is the shortest stretch not found in what comes before its own last symbol."""
    count, start = 0, 0
    while start < len(sequence):
        length = 1
        while start + length <= len(sequence) and occurs_in(
            sequence[start : start + length], sequence[: start + length - 1]
        ):
            length += 1
        count += 1  # an unfinished last one too
        start += length
    return count


@feature("motif")
def lz_complexity(table):
    sequence = list(zip(intervals(table), iois(table), strict=True))
    return ratio(components(sequence), len(sequence))

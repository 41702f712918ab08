"""A vocabulary as plain data: one JSON document a take, rows for a spreadsheet, and the sentences both pages share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from stylemeter.music.melody import Melody
from stylemeter.practice.vocabulary import Figure, Missed, Shared, TakeVocabulary
from stylemeter.report.vocabulary.words import bars_text, example, note_names, of_hundred, percent, say
from stylemeter.style.profile import Profile
from stylemeter.style.vocabulary import LENGTHS
from stylemeter.support.numbers import number
from stylemeter.writing.table import escape

__all__ = [
    "SCHEMA",
    "figure_name",
    "figure_sentences",
    "head",
    "missed_sentence",
    "rows",
    "shared_sentence",
    "stock_sentences",
    "take_title",
    "to_document",
]

#: Name and version of the document's layout.
SCHEMA = "stylemeter/vocabulary-of-take/1"


# -- sentences -----------------------------------------------------------------------------------------------------


def take_title(melody: Melody) -> str:
    """What a take is called."""
    return melody.title or melody.path or say("vocabulary.untitled")


def head(take: TakeVocabulary, profile: Profile | None) -> str:
    """What was looked at."""
    count = len(take.melody)
    parts = {
        "title": take_title(take.melody),
        "notes": say("vocabulary.notes", count, count=count),
        "phrases": say("vocabulary.phrases", take.phrases, count=take.phrases),
    }
    if profile is None:
        return say("vocabulary.head", **parts)
    return say("vocabulary.head_style", style=profile.style, **parts)


def figure_name(take: TakeVocabulary, figure: Figure) -> str:
    """The notes of its first occurrence; how many there are, how often and where."""
    kind = "figure" if figure.length in LENGTHS else "passage"
    names = note_names(take.melody, figure.places[0], figure.length)
    beside = {"rhythm": "with_rhythm", "degrees": "by_degree"}.get(figure.kind)
    said = f"{names} ({say(f'vocabulary.{beside}')})" if beside else names
    bars = bars_text(take.melody, figure.places)
    return f"{said}: {say(f'vocabulary.{kind}', notes=figure.length + 1, count=figure.count, bars=bars)}"


def figure_sentences(take: TakeVocabulary, figure: Figure, profile: Profile | None) -> list[str]:
    """What is said of a figure."""
    said = [s for s in (_phrases(take, figure, "ends"), _phrases(take, figure, "begins")) if s]
    if figure.kind == "intervals":
        if figure.same_rhythm == figure.count:
            said.append(say("vocabulary.same_rhythm"))
        elif figure.same_rhythm >= 3:
            said.append(say("vocabulary.same_rhythm_some", count=figure.same_rhythm, all=figure.count))
        starts = len({int(p) % 12 for p in np.floor(take.melody.pitch[list(figure.places)] + 0.5)})
        if figure.same_degree == figure.count:
            said.append(say("vocabulary.same_degree"))
        elif starts > 1:
            said.append(say("vocabulary.starts", count=starts))
    if profile is None or take.reason:
        return said
    if figure.style_count:
        said.append(
            say(
                "vocabulary.shared",
                count=figure.style_families,
                families=profile.vocabulary.families,
                style_rate=f"{figure.style_rate:.2g}",
                rate=f"{figure.rate:.2g}",
            )
        )
    else:
        said.append(say("vocabulary.not_shared" if figure.length in LENGTHS else "vocabulary.long"))
    if figure.leaned_on:
        count = of_hundred(figure.tunes)
        said.append(say("vocabulary.tunes" if count else "vocabulary.tunes_few", style=profile.style, count=count))
    return said


def _phrases(take: TakeVocabulary, figure: Figure, what: str) -> str:
    """How many phrases it ends or begins, where it is most of its occurrences and twice at least."""
    count = getattr(figure, what)
    if count < 2 or 2 * count < figure.count:
        return ""
    return say(f"vocabulary.{what}", count=count, phrases=take.phrases)


def missed_sentence(m: Missed, profile: Profile) -> str:
    """What is said of a pattern that is hardly played."""
    return say(
        "vocabulary.missed" if m.count else "vocabulary.missed_none",
        notes=example(m.kind, m.pattern),
        expected=f"{m.expected:.1f}",
        count=m.count,
        families=m.style_families,
        all=profile.vocabulary.families,
    )


def stock_sentences(take: TakeVocabulary) -> list[str]:
    """What a take is made of."""
    stock, said = take.stock, []
    if stock.common == stock.common:
        low, high, _ = stock.usual
        if low == low:
            said.append(
                say("vocabulary.stock_common", percent=percent(stock.common), low=percent(low), high=percent(high))
            )
    if stock.own == stock.own:
        said.append(say("vocabulary.stock_own", percent=percent(stock.own)))
    if stock.new == stock.new and said:
        name = "stock_new" if stock.common == stock.common else "stock_new_plain"
        said.append(say(f"vocabulary.{name}", percent=percent(stock.new)))
    return said


def shared_sentence(shared: Shared, melodies: Sequence[Melody], profile: Profile | None) -> str:
    """What is said of a figure several takes hold."""
    take, note = shared.places[0]
    said = say(
        "vocabulary.between_line",
        notes=note_names(melodies[take], note, shared.length),
        count_notes=shared.length + 1,
        takes=shared.takes,
        all=len(melodies),
        count=len(shared.places),
    )
    if profile is None:
        return said
    name = "between_style" if shared.style_families else "between_own"
    return f"{said} {say(f'vocabulary.{name}', families=shared.style_families)}"


# -- data ----------------------------------------------------------------------------------------------------------


def to_document(
    takes: Sequence[TakeVocabulary], shared: Sequence[Shared], profile: Profile | None, group: str = ""
) -> dict[str, Any]:
    """Takes of one player or group as one document; unknown numbers are None."""
    melodies = [t.melody for t in takes]
    return {
        "schema": SCHEMA,
        "group": group or None,
        "profile": None
        if profile is None
        else {"name": profile.name, "style": profile.style, "digest": profile.digest},
        "takes": [_take(t) for t in takes],
        "shared": [
            {
                "pattern": s.pattern,
                "notes": s.length + 1,
                "takes": s.takes,
                "count": len(s.places),
                "style_families": s.style_families,
                "places": [{"take": t + 1, "note": n + 1, "bar": int(melodies[t].bar[n])} for t, n in s.places],
            }
            for s in shared
        ],
    }


def _take(take: TakeVocabulary) -> dict[str, Any]:
    melody = take.melody
    return {
        "solo": {"title": melody.title, "path": melody.path, "part": melody.part, "notes": len(melody)},
        "phrases": take.phrases,
        "reason": take.reason or None,
        "stretches": take.stretches,
        "tried": take.tried,
        "stock": {name: number(getattr(take.stock, name)) for name in ("own", "common", "both", "new")}
        | {"usual_common": [number(v) for v in take.stock.usual[:2]]},
        "figures": [_figure(take, f) for f in take.figures],
        "missed": [_numbers(m) | {"count": m.count, "avoided": m.avoided} for m in take.missed],
    }


def _figure(take: TakeVocabulary, f: Figure) -> dict[str, Any]:
    return _numbers(f) | {
        "count": f.count,
        "rate": f.rate,
        "leaned_on": f.leaned_on,
        "told": not f.inside,
        "ends": f.ends,
        "begins": f.begins,
        "same_rhythm": f.same_rhythm,
        "same_degree": f.same_degree,
        "names": note_names(take.melody, f.places[0], f.length),
        "places": [{"note": n + 1, "bar": int(take.melody.bar[n])} for n in f.places],
    }


def _numbers(f: Figure | Missed) -> dict[str, Any]:
    """What figures and missed patterns share."""
    found: dict[str, Any] = {"kind": f.kind, "pattern": f.pattern, "notes": f.length + 1}
    names = ("style_count", "style_families")
    found |= {name: getattr(f, name) for name in names}
    return found | {n: number(getattr(f, n)) for n in ("style_rate", "expected", "log_odds", "z", "p", "q", "tunes")}


def rows(
    takes: Sequence[TakeVocabulary], shared: Sequence[Shared], group: str = "", column: str = ""
) -> Iterator[dict[str, Any]]:
    """A row a take and pattern, then one a figure several takes hold; safe for a spreadsheet.

    Parameters
    ----------
    takes, shared
    group, column : str
        Group the takes are of, and the column that says so; no such column where they are empty.
    """
    first = {escape(column): escape(group)} if column else {}
    for t in takes:
        solo = {"solo": escape(t.melody.path), "title": escape(t.melody.title)}
        for f in t.figures:
            bars = sorted({int(b) for b in t.melody.bar[list(f.places)]})
            yield (
                first
                | solo
                | {"relation": "comes back"}
                | _row(f)
                | {
                    "verdict": "leaned on" if f.leaned_on else "" if t.reason else "usual",
                    "told": "" if f.inside else "yes",
                    "ends": f.ends,
                    "begins": f.begins,
                    "names": note_names(t.melody, f.places[0], f.length),
                    "bars": " ".join(map(str, bars)),
                }
            )
        for m in t.missed:
            yield (
                first
                | solo
                | {"relation": "missed"}
                | _row(m)
                | {
                    "verdict": "hardly played" if m.avoided else "usual",
                    "told": "yes",
                    "ends": None,
                    "begins": None,
                    "names": example(m.kind, m.pattern),
                    "bars": "",
                }
            )
    for s in shared:
        take, note = s.places[0]
        empty = dict.fromkeys(("rate", "expected", "style_count", "style_rate", "log_odds", "z", "p", "q", "tunes"))
        yield (
            first
            | {"solo": f"{s.takes} takes", "title": "", "relation": "shared"}
            | {
                "kind": "intervals",
                "pattern": s.pattern,
                "notes": s.length + 1,
                "count": len(s.places),
                **empty,
                "style_families": s.style_families,
                "verdict": "",
                "told": "yes",
                "ends": None,
                "begins": None,
                "names": note_names(takes[take].melody, note, s.length),
                "bars": "",
            }
        )


def _row(f: Figure | Missed) -> dict[str, Any]:
    found = {"kind": f.kind, "pattern": f.pattern, "notes": f.length + 1, "count": f.count}
    found["rate"] = f.rate if isinstance(f, Figure) else None
    names = ("expected", "style_count", "style_rate", "log_odds", "z", "p", "q", "tunes", "style_families")
    return found | {n: number(getattr(f, n)) if isinstance(getattr(f, n), float) else getattr(f, n) for n in names}

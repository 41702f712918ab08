"""The page of a vocabulary: each figure in notation and tablature, to be played, with what is said of it."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from markupsafe import Markup

from stylemeter._version import __version__
from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS
from stylemeter.practice.vocabulary import Figure, Shared, TakeVocabulary
from stylemeter.report.draw.html import TEMPLATES, environment, write_html
from stylemeter.report.draw.score import NARROW, Glyphs, Mark, score_lines
from stylemeter.report.solo.page import page_script
from stylemeter.report.vocabulary.document import (
    figure_name,
    figure_sentences,
    head,
    missed_sentence,
    shared_sentence,
    stock_sentences,
)
from stylemeter.report.vocabulary.words import percent, say, texts
from stylemeter.style.profile import Profile
from stylemeter.writing.layout import note_ends

__all__ = ["Music", "Sheet", "render", "vocabulary_html", "write_vocabulary"]

#: Tempo of what doesn't say its own, in quarter notes a minute.
TEMPO = 100.0
#: Figures drawn of a take, those leaned on first; most bars of a drawing; patterns hardly played and figures shared.
FIGURES_MOST, BARS_MOST, MISSED_MOST, SHARED_MOST = 8, 4, 8, 8

Group = tuple[str, Sequence[TakeVocabulary], Sequence[Shared]]


@dataclass(frozen=True, slots=True)
class Music:
    """A few bars drawn, and what a button plays of them.

    Attributes
    ----------
    lines : tuple of Markup
        Empty where they can't be drawn.
    label : str
        What they show, for those who can't see them.
    voice : str
    start, end : float
        Quarter notes of the voice.
    """

    lines: tuple[Markup, ...]
    label: str
    voice: str
    start: float
    end: float


class Sheet:
    """The music of a page: its signs, each once, and the voices its buttons play."""

    def __init__(self) -> None:
        self.glyphs = Glyphs()
        self.voices: dict[str, list[list[float]]] = {}

    def take(self, melody: Melody, places: Sequence[int], length: int, voice: str, label: str) -> Music:
        """Draw the bars of a figure's first occurrence, a bracket over each that lies in them.

        Parameters
        ----------
        melody : Melody
        places : sequence of int
            Notes the figure starts at.
        length : int
            Its intervals.
        voice, label : str
        """
        first, last = places[0], places[0] + length
        start, stop = int(melody.bar[first]), int(melody.bar[last])
        bars = range(start, min(stop, start + BARS_MOST - 1) + 1)
        marks = [Mark("figure", p, p + length) for p in places]
        lines = score_lines(melody, self.glyphs, width=NARROW, bars=bars, marks=marks)
        # a page has one tempo: times are as they would be at it
        scale = TEMPO / (melody.tempo or TEMPO) / TICKS
        ends = note_ends(melody)
        self.voices.setdefault(
            voice,
            [
                [round(t * scale, 4), round((e - t) * scale, 4), round(p, 2), i]
                for i, (t, e, p) in enumerate(zip(melody.onset.tolist(), ends, melody.pitch.tolist(), strict=True))
            ],
        )
        return Music(
            tuple(line.picture for line in lines),
            label,
            voice,
            self.voices[voice][first][0],
            round(ends[last] * scale, 4),
        )

    @property
    def sound(self) -> Markup:
        """What the buttons play, as JSON."""
        document = json.dumps({"tempo": TEMPO, "voices": self.voices}, separators=(",", ":"))
        return Markup(document)  # noqa: S704 - numbers, and names of our own


@dataclass(frozen=True, slots=True)
class FigureView:
    """A figure on the page."""

    name: str
    leaned_on: bool
    said: str
    music: Music
    numbers: tuple[str, ...]


def write_vocabulary(groups: Sequence[Group], profile: Profile | None, path: Path) -> None:
    """Write the page.

    Parameters
    ----------
    groups : sequence of (str, takes, shared)
        Name of each group (empty without groups), its takes, and what they share.
    profile : Profile or None
        Style they are compared with.
    path : Path

    Raises
    ------
    UsageError
        If the file can't be written.
    """
    write_html(vocabulary_html(groups, profile), path)


def vocabulary_html(groups: Sequence[Group], profile: Profile | None) -> str:
    """Return the page as HTML, with everything inside."""
    takes = [t for _, group, _ in groups for t in group]
    one = takes[0].melody.title or takes[0].melody.path if len(takes) == 1 else ""
    title = say("vocabulary.title", title=one) if one else say("vocabulary.title_many", count=len(takes))
    sheet = Sheet()
    return render(
        "vocabulary.html.j2",
        sheet,
        title=title,
        groups=[
            {
                "name": name,
                "takes": [_take(t, profile, sheet, f"g{g}t{i}") for i, t in enumerate(group)],
                "many": len(group) > 1,
                "shared": [shared_sentence(s, [t.melody for t in group], profile) for s in shared[:SHARED_MOST]],
            }
            for g, (name, group, shared) in enumerate(groups)
        ],
        chance=say("vocabulary.chance", tried=sum(t.tried for t in takes)) if profile is not None else "",
    )


def _take(take: TakeVocabulary, profile: Profile | None, sheet: Sheet, voice: str) -> dict[str, Any]:
    judged = profile is not None and not take.reason
    avoided = [m for m in take.missed if m.avoided][:MISSED_MOST]
    told = sorted(take.told, key=lambda f: not f.leaned_on)
    return {
        "head": head(take, profile),
        "reason": say("vocabulary.reason", reason=take.reason) if profile is not None and take.reason else "",
        "nothing": "" if any(f.leaned_on for f in told) or not judged else say("vocabulary.nothing_leaned"),
        "empty": "" if told else say("vocabulary.nothing"),
        "figures": list(_figures(take, told[:FIGURES_MOST], profile, sheet, voice)),
        "more": say("vocabulary.more", len(told) - FIGURES_MOST, count=len(told) - FIGURES_MOST)
        if len(told) > FIGURES_MOST
        else "",
        "missed": [missed_sentence(m, profile) for m in avoided] if profile is not None else [],
        "stock": stock_sentences(take),
        "stretches": say("vocabulary.stretches", count=take.stretches) if take.stretches > 1 else "",
    }


def _figures(
    take: TakeVocabulary, figures: Sequence[Figure], profile: Profile | None, sheet: Sheet, voice: str
) -> Iterator[FigureView]:
    for f in figures:
        name = figure_name(take, f)
        yield FigureView(
            name=name,
            leaned_on=f.leaned_on,
            said=" ".join(figure_sentences(take, f, profile)),
            music=sheet.take(take.melody, f.places, f.length, voice, name),
            numbers=_numbers(f),
        )


def _numbers(f: Figure) -> tuple[str, ...]:
    """Cells of the table of numbers, in the order of its head."""

    def shown(value: float, form: str = ".2f") -> str:
        return format(value, form) if value == value else ""

    return (
        f.pattern,
        str(f.count),
        shown(f.rate, ".2g"),
        shown(f.style_rate, ".2g"),
        str(f.style_families) if f.style_families else "",
        shown(f.log_odds),
        shown(f.z, ".1f"),
        shown(f.q, ".3f"),
        percent(f.tunes) if f.tunes == f.tunes else "",
    )


# -- what both pages share -----------------------------------------------------------------------------------------


def render(template: str, sheet: Sheet, **context: Any) -> str:
    """Fill in a template of a vocabulary or a comparison; everything but our own style sheet is escaped.

    Parameters
    ----------
    template : str
        File in the templates' folder.
    sheet : Sheet
        The music drawn in it.
    context : object
        What it prints, by name.

    Returns
    -------
    str
        HTML that loads nothing and runs our own script alone.
    """
    page: str = (
        _environment()
        .get_template(template)
        .render(
            **context,
            glyphs=sheet.glyphs.markup,
            sound=sheet.sound if sheet.voices else "",
            css=_css(),
            js=page_script(),
            policy=_policy(),
            footer=say("vocabulary.footer", version=__version__),
        )
    )
    return page.encode("utf-8", "replace").decode("utf-8")


@lru_cache(maxsize=1)
def _environment() -> Any:
    return environment(say=say, text=texts())


@lru_cache(maxsize=1)
def _css() -> Markup:
    sheets = [(TEMPLATES / name).read_text(encoding="utf-8") for name in ("page.css", "class.css", "vocabulary.css")]
    return Markup("\n".join(sheets))  # noqa: S704 - our own files


@lru_cache(maxsize=1)
def _policy() -> str:
    """What the page may do: its own script and style, and nothing else."""
    script, style = (
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (page_script(), _css())
    )
    return (
        f"default-src 'none'; script-src 'sha256-{script}'; style-src 'sha256-{style}'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )

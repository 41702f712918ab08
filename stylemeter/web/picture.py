"""A take as it was understood, drawn so that every note can be found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from stylemeter.report.draw.score import Glyphs, score_lines
from stylemeter.writing.spelling import Spelled, spell

if TYPE_CHECKING:
    from stylemeter.music.melody import Melody

__all__ = ["take_picture"]


def take_picture(melody: Melody) -> Markup:
    """Staff and tablature of a melody; every note carries ``data-note``, its place from 0.

    Parameters
    ----------
    melody : Melody

    Returns
    -------
    Markup
        The names of the notes, bar by bar, where there are too many to be engraved.
    """
    glyphs = Glyphs("take-")
    lines = score_lines(melody, glyphs)
    if lines:
        return Markup("{}{}").format(glyphs.markup, Markup("").join(line.picture for line in lines))
    notes = [
        Markup('<span data-note="{}">{}</span>').format(i, _name(spell(round(pitch), melody.key)))
        for i, pitch in enumerate(melody.pitch.tolist())
    ]
    return Markup('<p class="names">{}</p>').format(Markup(" ").join(notes))


def _name(note: Spelled) -> str:
    """A note's name as it is said."""
    return f"{note.letter}{'♯' * round(note.alter)}{'♭' * round(-note.alter)}{note.octave}"

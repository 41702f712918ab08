"""Recordings: what is heard in a take, laid on its beats.

Conventions: times in seconds until the notes are laid on the grid. Beats are told (`tempo`, `first_beat`), counted in
(`count_in`) or estimated; an estimate that is not sure is refused, with the two likeliest tempi.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError
from stylemeter.music.melody import Melody, Technique
from stylemeter.music.meter import Meter, parse_meter
from stylemeter.reading.audio.confidence import confidence_of
from stylemeter.reading.audio.count_in import count_in
from stylemeter.reading.audio.curve import Gesture
from stylemeter.reading.audio.decoder import Note, odds
from stylemeter.reading.audio.listen import Listened, listen
from stylemeter.reading.audio.sound import Sound, decode_sound
from stylemeter.reading.draft.build import build, count_words
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.performed.draft import Take, bar_namer, check_span, lay, settle
from stylemeter.reading.performed.tempo import follow, guess, phase_of

__all__ = ["HONEST", "read"]

Floats = npt.NDArray[np.float64]

#: What no figure can hide, told of every recording until takes of people are measured too.
HONEST = (
    "notes heard in the recording, not read from a score; measured on rendered and sampled guitar: no annotated "
    "recording of a real player was at hand"
)
#: Notes fewer than this are no take.
NOTES_MIN = 2
#: Cents of a tuning worth telling; mean confidence below which all of a take is doubted; of a note that is doubted.
TUNED, DOUBTED, DOUBTFUL = 8.0, 0.7, 0.5
#: Share of the notes over which a band must be heard to be told, and with it how likely.
ACCOMPANIED = 0.3
#: A voice sounds under a note where it is this likely over this share of its frames.
VOICE, VOICE_SHARE = 0.5, 0.5
#: Places listed in a remark.
LISTED = 6
#: Drift of the tempo worth telling, as a share of it.
DRIFTED = 0.02


@dataclass(frozen=True, slots=True)
class _Beats:
    """Tempo, first beat, and what is to be told of how they are known."""

    tempo: float
    first: float
    remarks: list[str]


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the line played in a recording.

    Parameters
    ----------
    data : bytes
    options : ReadOptions
        `tempo`, `first_beat`, `count_in` and `meter` apply.

    Returns
    -------
    list of Melody
        One.

    Raises
    ------
    InputError
        If it can't be read, holds no notes, or its tempo can't be told.
    LimitError
        If it lasts too long.
    """
    sound = decode_sound(data)
    found = listen(sound.samples)
    notes = found.notes
    if len(notes) < NOTES_MIN:
        what = "no notes of a guitar are heard in it" if not notes else "only one note is heard in it"
        raise InputError(what, mend="give a take of one guitar, plugged in or near the microphone")
    if len(notes) > limits.NOTES_MAX:
        raise InputError(f"more than {limits.NOTES_MAX} notes are heard in it", mend="cut out the solo and give that")
    confidence = np.round(confidence_of(notes, found.heard), 3)
    onset, end = _times(notes)
    beats = _beats(sound, onset, end, options)
    laid_on = follow(onset, beats.tempo, beats.first)
    meters = [parse_meter(options.meter)] if options.meter else []
    take = Take(
        laid_on.position,
        laid_on.position + (end - onset) / laid_on.pace,
        onset,
        laid_on.pace,
        np.array([n.pitch for n in notes], dtype=float),
        np.array([int(g.technique) for g in found.gestures], dtype=np.int64),
        confidence=confidence,
    )
    check_span(float(take.end.max() - min(take.onset.min(), 0.0)), meters)
    draft, _ = settle(lay(take, meters or [Meter(0, 4, 4)]), meters)
    drift = []
    if laid_on.drift > DRIFTED:
        drift = [f"its tempo drifts by up to {100 * laid_on.drift:.0f} %: followed"]
    name = bar_namer(draft)
    bar_at = {note.seconds: name(note.onset) for note in draft.notes}
    bars = [bar_at.get(time, "") for time in onset.tolist()]
    heard_wrong = 1 - float(confidence.mean())
    draft = replace(
        draft,
        tempo=round(beats.tempo, 1),
        source="audio",
        guessed_share=1 - (1 - draft.guessed_share) * (1 - heard_wrong),
        remarks=[HONEST, *sound.remarks, *_told(found, confidence, bars), *beats.remarks, *drift, *draft.remarks],
    )
    return [build(draft)]


def _times(notes: Sequence[Note]) -> tuple[Floats, Floats]:
    """Onsets, strictly rising, and ends behind them."""
    onset = np.array([n.time for n in notes])
    onset = np.maximum.accumulate(onset + 1e-6 * np.arange(len(onset)))
    return onset, np.maximum(np.array([n.end for n in notes]), onset + 0.02)


def _beats(sound: Sound, onset: Floats, end: Floats, options: ReadOptions) -> _Beats:
    """Beats as told, counted in or estimated."""
    if options.count_in is not None:
        counted = count_in(sound.samples, options.count_in, float(onset[0]))
        if counted is None:
            raise InputError(
                f"no count-in of {options.count_in} even clicks is heard before its first note ({onset[0]:.1f} s)",
                mend="say the beats with --tempo and --first-beat, or the number of clicks with --count-in",
            )
        tempo, first = counted
        told = f"{options.count_in} clicks counted in: {tempo:.1f} quarter notes a minute, beat 1 at {first:.2f} s"
        if options.tempo is not None and abs(options.tempo / tempo - 1) > 0.03:
            told += f" (not {options.tempo:g} as given)"
        return _Beats(tempo, first if options.first_beat is None else options.first_beat, [told])
    if options.tempo is not None:
        return _first(options.tempo, onset, options, [])
    found = guess(onset, end)
    if found is None:
        raise InputError(
            f"{count_words(len(onset), 'note')} are too few to tell a tempo",
            mend="say it with --tempo and --first-beat",
        )
    one, other, half, double = (
        f"{round(t, 1):g}" for t in (found.tempo, found.runner_up, found.tempo / 2, found.tempo * 2)
    )
    if not found.sure:
        raise InputError(
            f"its tempo can't be told for sure: {one} or {other} quarter notes a minute",
            mend=f"tap along to find which you meant and say it with --tempo {one} or --tempo {other}; or count in "
            "four clicks before you play and say --count-in 4",
        )
    told = f"tempo estimated: {one} quarter notes a minute; counted at half or double: --tempo {half} or {double}"
    return _first(found.tempo, onset, options, [told])


def _first(tempo: float, onset: Floats, options: ReadOptions, remarks: list[str]) -> _Beats:
    """A tempo with its first beat as told, or on the beat the first note lies on or after."""
    if options.first_beat is not None:
        return _Beats(tempo, options.first_beat, remarks)
    first = phase_of(onset, None, tempo)
    told = f"beat 1 of bar 1 taken at {first:.2f} s, where the line begins; say where it is with --first-beat"
    return _Beats(tempo, first, [*remarks, told])


def _told(found: Listened, confidence: Floats, bars: Sequence[str]) -> list[str]:
    """What is to be told of how a take sounds; places are bars."""
    out = []
    if abs(found.tuning) >= TUNED:
        side = "above" if found.tuning > 0 else "below"
        out.append(f"the guitar is tuned {abs(found.tuning):.0f} cents {side} 440 Hz: taken out")
    out += _voices(found, bars) + _gestures(found.gestures)
    band = float(
        np.mean([float(odds(found.heard.band[n.frame : n.frame + len(n.path)]).mean()) > 0.5 for n in found.notes])
    )
    if band > ACCOMPANIED:
        out.append(
            f"a band is heard over about {100 * band:.0f} % of the notes: some of its notes may be taken for the "
            "guitar's; a take of the guitar alone is safer"
        )
    doubtful = int((confidence < DOUBTFUL).sum())
    if float(confidence.mean()) < DOUBTED:
        out.append("little of it sounds like single notes of a guitar: doubt all that is said of it")
    elif doubtful:
        words = count_words(doubtful, "note")
        out.append(f"{words} more likely misheard than not (confidence under {DOUBTFUL:g} in `stylemeter notes`)")
    return out


def _voices(found: Listened, bars: Sequence[str]) -> list[str]:
    """Where more than one voice sounds."""
    places = []
    for note, bar in zip(found.notes, bars, strict=True):
        if note.voices > 1 and bar and bar not in places:
            places.append(bar)
    if not places:
        return []
    more = f" and {len(places) - LISTED} more" if len(places) > LISTED else ""
    count = sum(note.voices > 1 for note in found.notes)
    where = ", ".join(places[:LISTED]) + more
    return [f"more than one voice at {count_words(count, 'note')} ({where}): the upper one is taken"]


def _gestures(gestures: Sequence[Gesture]) -> list[str]:
    """Bends, slides and vibrato, counted."""
    out = []
    for mark, one, depth in (
        (Technique.BEND | Technique.PRE_BEND, "bend", "up to {:.0f} cents"),
        (Technique.SLIDE, "slide", ""),
        (Technique.VIBRATO, "vibrato", "about {:.0f} cents either way"),
    ):
        held = [g for g in gestures if g.technique & mark]
        if held:
            depths = [g.depth for g in held]
            far = max(depths) if one == "bend" else float(np.median(depths))
            noun = count_words(len(held), one) if one != "vibrato" else f"vibrato on {count_words(len(held), 'note')}"
            out.append(noun + (f", {depth.format(far)}" if depth else ""))
    return ["heard: " + "; ".join(out)] if out else []

"""The note table every stage works on: one melody, its meter, key, chords and what the reader had to mend.

Conventions: times are integer ticks, `meter.TICKS` to a quarter note; pitches are sounding MIDI note numbers
(60 = middle C); arrays are read-only, one entry a sounding note, onsets strictly rising.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, WrongTypeError
from stylemeter.music.meter import Bars, Meter, meter_at, position_weight
from stylemeter.support.notebook import html_table, shortened

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["COLUMNS", "Chord", "Key", "Melody", "Technique", "ends_of", "grid_columns"]

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

KeySource = Literal["declared", "given", "estimated"]

#: The columns of a note table, an entry a note each; those a source can't fill are None.
COLUMNS = (
    *("onset", "duration", "pitch", "bar", "beat", "weight", "technique", "onset_seconds"),
    *("strings", "frets", "phrase_ends", "confidence"),
)

_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
#: Fifths from a tonic to the tonic of the major key with the same signature; blues is written with its major's.
_MODE_FIFTHS = {
    "major": 0,
    "minor": -3,
    "dorian": -2,
    "phrygian": -4,
    "lydian": 1,
    "mixolydian": -1,
    "locrian": -5,
}


class Technique(enum.IntFlag):
    """How a note is played, where the source can say."""

    BEND = 1
    PRE_BEND = 2
    RELEASE = 4
    SLIDE = 8
    HAMMER_ON = 16
    PULL_OFF = 32
    VIBRATO = 64
    DEAD = 128
    HARMONIC = 256
    PALM_MUTE = 512
    GRACE = 1024
    STACCATO = 2048
    ACCENT = 4096
    TRILL = 8192

    @property
    def words(self) -> list[str]:
        """Names of the marks set, lower case with hyphens, in a fixed order."""
        return [flag.name.lower().replace("_", "-") for flag in type(self) if flag in self and flag.name]

    @classmethod
    def from_words(cls, words: Sequence[str]) -> Technique:
        """Read marks back from their names.

        Raises
        ------
        InputError
            If a name is not a mark.
        """
        value = cls(0)
        for word in words:
            name = word.strip().upper().replace("-", "_")
            if name not in cls.__members__:
                raise InputError(f"unknown technique {word!r}", mend="marks are: " + ", ".join(cls(~0).words))
            value |= cls[name]
        return value


@dataclass(frozen=True, slots=True)
class Key:
    """A tonal centre and how it is known.

    Attributes
    ----------
    tonic : int
        Pitch class, 0 = C.
    mode : str or None
        One of `scales.MODE_SCALES`, or None where nobody can say.
    source : {"declared", "given", "estimated"}
        By the file, by the user, or by `keys.estimate`.
    runner_up : str or None
        The next best key of an estimate.
    margin : float or None
        How far the estimate's correlation lies above the runner-up's.
    """

    tonic: int
    mode: str | None
    source: KeySource
    runner_up: str | None = None
    margin: float | None = None

    @property
    def name(self) -> str:
        """The key as said: "D dorian".

        Examples
        --------
        >>> Key(2, "dorian", "given").name, Key(1, "minor", "given").name, Key(1, "major", "given").name
        ('D dorian', 'C# minor', 'Db major')
        """
        sharp = self.fifths > 0 and self.mode in _MODE_FIFTHS
        # a blues is called as guitarists call its minor: C#, Eb, F#, G#, Bb
        sharp = Key(self.tonic, "minor", self.source).fifths > 0 if self.mode == "blues" else sharp
        return f"{(_SHARP_NAMES if sharp else _FLAT_NAMES)[self.tonic]} {self.mode or '(mode not known)'}"

    @property
    def tonic_name(self) -> str:
        """The tonic as its signature spells it: "C#" in C# minor, "Db" in Db major."""
        return self.name.split(" ")[0]

    def spelled(self, pitch_class: int) -> str:
        """A pitch class as written in this key: with sharps where the signature has them."""
        return (_SHARP_NAMES if self.fifths > 0 else _FLAT_NAMES)[pitch_class % 12]

    @property
    def fifths(self) -> int:
        """Sharps (> 0) or flats (< 0) of the signature, the fewer of the two; of the major key without a mode.

        Six of either are sharps where the tonic is F#, C# or G#, flats where it is Eb or Bb.

        Examples
        --------
        >>> [Key(6, "major", "given").fifths, Key(3, "minor", "given").fifths, Key(8, "minor", "given").fifths]
        [6, -6, 5]
        """
        fifths = (7 * self.tonic + _MODE_FIFTHS.get(self.mode or "major", 0) + 5) % 12 - 5
        return -6 if fifths == 6 and self.tonic in (3, 10) else fifths


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord from its onset until the next.

    Attributes
    ----------
    onset : int
        Ticks.
    root : int or None
        Pitch class of the root; None for "no chord".
    kind : str
        The quality in short, as written after the root: "", "m", "7", "maj7", "m7b5", ...; "N" for no chord.
    pitch_classes : tuple of int
        Absolute pitch classes of the chord, root first; empty for "no chord".
    """

    onset: int
    root: int | None
    kind: str
    pitch_classes: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Melody:
    """One melody as read.

    Attributes
    ----------
    onset, duration : ndarray of shape (n_notes,)
        Ticks; `duration` is None where the source has none.
    pitch : ndarray of shape (n_notes,)
        Sounding MIDI note number, a fraction where the source gives one.
    bar : ndarray of shape (n_notes,)
        Bar in the printed order, 0 for a pickup.
    beat : ndarray of shape (n_notes,)
        1 + position / beat.
    weight : ndarray of shape (n_notes,)
        Metrical weight, 0 downward.
    meters : tuple of Meter
        At least one, sorted by onset.
    bars : Bars
        Every bar line, those of empty bars too.
    technique : ndarray of shape (n_notes,) or None
        `Technique` bits; None where the source cannot say.
    key, chords, tempo : optional
        Tempo in quarter notes a minute.
    onset_seconds : ndarray of shape (n_notes,) or None
        Where the source has them.
    strings, frets : ndarray of shape (n_notes,) or None
        Where the source has each note played: string 1 is the top line of tablature, frets count from the capo; -1
        where it doesn't say. None where it says nothing at all.
    tuning : tuple of int or None
        What the open strings sound as (MIDI note numbers, the capo included), the lowest line of tablature first,
        string 1 last: an unbent note's pitch is ``tuning[-string] + fret``.
    phrase_ends : ndarray of bool of shape (n_notes,) or None
        Which notes end a phrase, the last one always, where the source marks phrases; None where it doesn't.
    confidence : ndarray of shape (n_notes,) or None
        Probability, 0 to 1, that each note was played as it stands, where a reader had to hear it (recordings); None
        where the source says its notes itself.
    source : str
        Kind of source: "musicxml", "abc", "kern", "midi", "jams", "tab", "csv", "json", "audio", ...
    remarks : tuple of str
        Every repair or guess the reader made.
    rhythm_known : bool
        Whether the source tells or lets guess when notes sound; if not, they are laid evenly in their order.
    guessed_share : float
        Share of the notes the source is likely to have wrong (0 for notation).
    """

    onset: Ints
    duration: Ints | None
    pitch: Floats
    bar: Ints
    beat: Floats
    weight: Ints
    meters: tuple[Meter, ...]
    bars: Bars
    technique: Ints | None = None
    key: Key | None = None
    chords: tuple[Chord, ...] | None = None
    tempo: float | None = None
    onset_seconds: Floats | None = None
    strings: Ints | None = None
    frets: Ints | None = None
    tuning: tuple[int, ...] | None = None
    phrase_ends: Bools | None = None
    confidence: Floats | None = None
    title: str = ""
    part: str = ""
    path: str = ""
    source: str = ""
    remarks: tuple[str, ...] = ()
    rhythm_known: bool = True
    guessed_share: float = 0.0
    #: The meter each note lies in, filled in on construction.
    note_meters: tuple[Meter, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if len(self.onset) and np.any(np.diff(self.onset) <= 0):
            raise InputError("onsets do not rise", where=self.path)
        if (self.strings is None) != (self.frets is None):
            raise InputError("strings without frets, or frets without strings", where=self.path)
        for array in (getattr(self, name) for name in COLUMNS):
            if array is None:
                continue
            if len(array) != len(self.onset):
                raise InputError("columns of different lengths", where=self.path)
            array.setflags(write=False)
        if len(self.meters) == 1:
            found = self.meters * len(self.onset)
        else:
            found = tuple(meter_at(self.meters, t) for t in self.onset.tolist())
        object.__setattr__(self, "note_meters", found)

    def __len__(self) -> int:
        return len(self.onset)

    def only(self, chosen: slice | npt.NDArray[np.integer] | Bools) -> Melody:
        """Return the chosen notes as a melody of their own; bar lines, meters, chords and key stay.

        A phrase whose last note isn't chosen ends with the last one that is.
        """
        columns = {name: column[chosen] for name in COLUMNS if (column := getattr(self, name)) is not None}
        if self.phrases is not None:
            columns["phrase_ends"] = ends_of(self.phrases[chosen])
        return replace(self, **columns)

    @property
    def phrases(self) -> Ints | None:
        """Which notated phrase each note is in, counted from 0; None where the source marks none."""
        return None if self.phrase_ends is None else np.cumsum(self.phrase_ends) - self.phrase_ends

    def with_key(self, key: Key | None) -> Melody:
        """Return the same melody in another key."""
        return replace(self, key=key)

    def with_remarks(self, *remarks: str) -> Melody:
        """Return the same melody with more remarks."""
        return replace(self, remarks=self.remarks + remarks)

    def __repr__(self) -> str:
        name = shortened(self.title or self.part or self.path)
        bars = f"bars {self.bar[0]}-{self.bar[-1]}, " if len(self) else ""
        key = self.key.name if self.key else "no key"
        return f"<Melody {name!r}: {len(self)} notes, {bars}{self.meters[0]}, {key}, from {self.source or 'nowhere'}>"

    def _repr_html_(self) -> str:
        frame = self.to_frame()
        return html_table(repr(self)[1:-1], list(frame.columns), frame.itertuples(index=False))

    @classmethod
    def from_arrays(
        cls,
        onset: npt.ArrayLike,
        pitch: npt.ArrayLike,
        duration: npt.ArrayLike | None = None,
        *,
        meter: str | Sequence[tuple[float, str]] = "4/4",
        pickup: float = 0.0,
        key: str | Key | None = None,
        chords: str | Sequence[tuple[float, str]] | None = None,
        tempo: float | None = None,
        title: str = "",
        part: str = "",
        tuning: Sequence[int] | None = None,
        technique: npt.ArrayLike | None = None,
        onset_seconds: npt.ArrayLike | None = None,
        strings: npt.ArrayLike | None = None,
        frets: npt.ArrayLike | None = None,
        phrase_ends: npt.ArrayLike | None = None,
        confidence: npt.ArrayLike | None = None,
    ) -> Melody:
        """Make a melody of arrays; of notes that begin together the top one is kept.

        Parameters
        ----------
        onset : array_like of shape (n_notes,)
            Quarter notes from the first bar line (from the start of the pickup, where there is one), in any order.
        pitch : array_like of shape (n_notes,)
            Sounding MIDI note numbers, 0 to 127; fractions are kept.
        duration : array_like of shape (n_notes,), optional
            Quarter notes, greater than 0. Without it, what needs durations is unmeasured.
        meter : str or sequence of (onset, str)
            "4/4", or changes with the quarter note each begins at.
        pickup : float
            Quarter notes before the first full bar.
        key : str or Key, optional
            "D dorian"; by default it is estimated from the notes, with a remark.
        chords : str or sequence of (onset, str), optional
            "Dm7 | G7", laid from the first full bar and repeated; or symbols with their onsets.
        tempo : float, optional
            Quarter notes a minute.
        title, part : str
        tuning : sequence of int, optional
            Open strings, the lowest line of tablature first.
        technique : array_like of shape (n_notes,), optional
            `Technique` bits.
        onset_seconds, strings, frets, phrase_ends, confidence : array_like of shape (n_notes,), optional
            See the attributes.

        Returns
        -------
        Melody

        Raises
        ------
        InputError
            If there are no notes, columns differ in length, or a number can't be meant.
        UsageError
            If the meter, key, chords or pickup can't be understood.

        Examples
        --------
        >>> Melody.from_arrays([0, 1, 2, 3], [60, 62, 64, 67], [1, 1, 1, 1], key="C major")
        <Melody '': 4 notes, bars 1-1, 4/4, C major, from arrays>
        """
        from stylemeter.music import convert

        return convert.from_arrays(
            onset,
            pitch,
            duration,
            meter=meter,
            pickup=pickup,
            key=key,
            chords=chords,
            tempo=tempo,
            title=title,
            part=part,
            tuning=tuning,
            technique=technique,
            onset_seconds=onset_seconds,
            strings=strings,
            frets=frets,
            phrase_ends=phrase_ends,
            confidence=confidence,
        )

    @classmethod
    def from_frame(cls, frame: pd.DataFrame, **options: Any) -> Melody:
        """Make a melody of a frame with the columns `onset`, `pitch` and, where known, `duration` and more.

        Parameters
        ----------
        frame : DataFrame
            A row a note; columns as `to_frame` names them, others are passed over. A frame of `to_frame` carries
            meter, bars, key and chords along (in its `attrs`) and gives the same melody again.
        **options
            `meter`, `key`, ...: see `from_arrays`. With any of them, what the frame carries along is left aside.

        Returns
        -------
        Melody

        Raises
        ------
        InputError, UsageError
            See `from_arrays`; also if a column is missing.

        Examples
        --------
        >>> import pandas as pd
        >>> Melody.from_frame(pd.DataFrame({"onset": [0, 1], "pitch": [62, 65]}), meter="3/4", key="D dorian")
        <Melody '': 2 notes, bars 1-1, 3/4, D dorian, from arrays>
        """
        from stylemeter.music import convert

        return convert.from_frame(frame, **options)

    def to_frame(self) -> pd.DataFrame:
        """Return the note table as a frame.

        Returns
        -------
        DataFrame of n_notes rows
            `onset` and `duration` in quarter notes, `pitch`, `bar`, `beat`, `weight`, and `technique`,
            `onset_seconds`, `string`, `fret` and `phrase_end` where known. What is not a column lies in its `attrs`,
            for `from_frame`.

        Examples
        --------
        >>> list(Melody.from_arrays([0, 1], [60, 62]).to_frame().columns)
        ['onset', 'pitch', 'bar', 'beat', 'weight']
        """
        from stylemeter.music import convert

        return convert.to_frame(self)

    @classmethod
    def from_music21(cls, stream: Any, part: str | int | None = None) -> Melody:
        """Make a melody of a stream of music21.

        Parameters
        ----------
        stream : music21.stream.Stream
            A score, part or flat stream; transposing instruments are read as they sound.
        part : str or int, optional
            A part's name or its number from 1; by default the part with most notes.

        Returns
        -------
        Melody

        Raises
        ------
        InputError
            If there are no notes in it.
        UsageError
            If there is no such part, it is no stream, or music21 is not installed.
        """
        from stylemeter.music import convert

        return convert.from_music21(stream, part)

    def to_music21(self) -> Any:
        """Return the melody as a score of music21: one part, its measures, key, tempo and chord symbols.

        Returns
        -------
        music21.stream.Score

        Raises
        ------
        UsageError
            If the melody has no durations, or music21 is not installed.
        """
        from stylemeter.music import convert

        return convert.to_music21(self)


def checked(melody: object, what: str = "a melody") -> Melody:
    """The melody, if it is one.

    Raises
    ------
    WrongTypeError

    Examples
    --------
    >>> checked([])
    Traceback (most recent call last):
    ...
    stylemeter.errors.WrongTypeError: a melody can't be of type list; give one of its melodies: read() returns a list
    """
    if isinstance(melody, Melody):
        return melody
    several = isinstance(melody, list | tuple)
    wanted = "one of its melodies: read() returns a list" if several else "a Melody: read() makes them"
    raise WrongTypeError.of(what, melody, wanted)


def ends_of(phrases: Ints) -> Bools:
    """Which notes end a phrase, of notes that count the phrase each is in; the last one always does.

    Examples
    --------
    >>> ends_of(np.array([0, 0, 2, 2, 3])).tolist()
    [False, True, False, True, True]
    """
    return np.append(np.diff(phrases) != 0, True)[: len(phrases)]


def grid_columns(onset: Ints, meters: Sequence[Meter], bars: Bars) -> tuple[Ints, Floats, Ints]:
    """Bar number, beat and metrical weight of each onset.

    Parameters
    ----------
    onset : ndarray of shape (n_notes,)
        Ticks, none before the first bar line or after the last bar's end.
    meters : sequence of Meter
    bars : Bars

    Returns
    -------
    bar, beat, weight : ndarrays of shape (n_notes,)
    """
    index = np.searchsorted(bars.line, onset, side="right") - 1
    if len(onset) and index.min() < 0:
        raise InputError("a note lies before the first bar")
    x = onset - bars.line[index]
    beats = np.empty(len(onset))
    weights = np.empty(len(onset), dtype=np.int64)
    for i, (tick, position) in enumerate(zip(onset.tolist(), x.tolist(), strict=True)):
        meter = meter_at(meters, tick)
        beats[i] = 1 + position / meter.beat
        weights[i] = position_weight(position, meter.numerator, meter.denominator)
    return bars.number[index], beats, weights

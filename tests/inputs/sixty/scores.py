"""Cases 26 to 40: MusicXML as guitarists, arrangers and their programs write it."""

from __future__ import annotations

from stylemeter.music.melody import Technique

from .case import Case
from .xml import SCALE_PITCHES, STEADY, attributes, bars, measure, note, notes, part, whole

ANY = r"."
SCALE = {"pitches": SCALE_PITCHES, "onsets": STEADY}
FOUR, MORE = "C4 D4 E4 F4", "G4 A4 B4 C5"
TAB_STAFF = (
    '<clef number="{0}"><sign>TAB</sign><line>5</line></clef>'
    '<staff-details number="{0}"><staff-lines>6</staff-lines></staff-details>'
)


def technical(inner: str) -> str:
    """Technique marks of a note."""
    return f"<notations><technical>{inner}</technical></notations>"


#: Written an octave above where they sound, and where a guitar plays them.
WRITTEN, WRITTEN_ON = "C5 D5 E5 F5", "G5 A5 B5 C6"
FRETS = {"C5": (2, 1), "D5": (2, 3), "E5": (1, 0), "F5": (1, 1), "G5": (1, 3), "A5": (1, 5), "B5": (1, 7), "C6": (1, 8)}
DOWN = "<transpose><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"


def fretted(names: str, **more: object) -> str:
    """Notes with string and fret, as on a tab staff."""
    played = []
    for name in names.split():
        string, fret = FRETS[name]
        played.append(note(name, after=technical(f"<string>{string}</string><fret>{fret}</fret>"), **more))
    return "".join(played)


def nothing_doubled(melodies: list) -> None:
    """One of the two staves was kept whole, not both laid over each other."""
    assert not [remark for remark in melodies[0].remarks if "double stop" in remark or "lower note" in remark]


def two_staves() -> bytes:
    """One part, staff 1 notation, staff 2 tablature."""
    clefs = '<staves>2</staves><clef number="1"><sign>G</sign><line>2</line></clef>' + TAB_STAFF.format(2) + DOWN
    back = "<backup><duration>16</duration></backup>"
    first = attributes(clefs) + notes(WRITTEN, staff=1) + back + fretted(WRITTEN, voice=5, staff=2)
    second = notes(WRITTEN_ON, staff=1) + back + fretted(WRITTEN_ON, voice=5, staff=2)
    return whole(part(measure(first) + measure(second, 2)), names=("Guitar",))


def two_parts(clef: str) -> bytes:
    """The same line in a part of notation and in one of tablature."""
    notation = part(measure(attributes(DOWN) + notes(WRITTEN)) + measure(notes(WRITTEN_ON), 2))
    first = attributes(clef + DOWN) + fretted(WRITTEN)
    return whole(
        notation, part(measure(first) + measure(fretted(WRITTEN_ON), 2), "P2"), names=("Guitar", "Guitar (tab)")
    )


def one_octave_down() -> bytes:
    """Written an octave above where it sounds, as guitar parts are."""
    return whole(part(measure(attributes(DOWN) + notes(FOUR)) + measure(notes(MORE), 2)))


def changes() -> bytes:
    """4/4 in C, then 3/4 in D."""
    second = attributes(meter="3/4", fifths=2)
    return whole(
        part(measure(attributes() + notes(FOUR)) + measure(second + notes("G4 A4 B4"), 2) + measure(notes("C5 R R"), 3))
    )


def changed(melodies: list) -> None:
    """Both meters are there, the second from its bar."""
    assert [(m.onset, str(m)) for m in melodies[0].meters] == [(0, "4/4"), (4 * 10080, "3/4")]
    assert melodies[0].beat.tolist() == [1, 2, 3, 4, 1, 2, 3, 1]


def two_voices() -> bytes:
    """The scale over a lower voice, and one double stop."""
    back = "<backup><duration>16</duration></backup>"
    chord = "<chord/>"
    first = notes("C4 D4 E4 F4") + note("A3", 4, before=chord) + back + notes("C3 C3", 8, voice=2)
    return bars(first, notes(MORE))


def tied(name: str, *kinds: str) -> str:
    """A quarter note with ties."""
    marks = "".join(f'<tie type="{kind}"/>' for kind in kinds)
    drawn = "".join(f'<tied type="{kind}"/>' for kind in kinds)
    plain = note(name, after=f"<notations>{drawn}</notations>")
    return plain.replace("</duration>", f"</duration>{marks}")


GRACE = note("B4", None, before="<grace/>")
BEND = "<bend><bend-alter>2</bend-alter></bend>"
PRE_BEND = "<bend><bend-alter>2</bend-alter><pre-bend/></bend>"
RELEASE = "<bend><bend-alter>2</bend-alter></bend><bend><bend-alter>-2</bend-alter><release/></bend>"
HAMMER = '<hammer-on number="1" type="{}">H</hammer-on>'
PULL = '<pull-off number="1" type="{}">P</pull-off>'
SLIDE = '<notations><slide number="1" type="{}" line-type="solid"/></notations>'
WAVY = '<notations><ornaments><wavy-line type="start"/><wavy-line type="stop"/></ornaments></notations>'


#: A bent note has the pitch it reaches.
BENT_PITCHES = (60, 64, 66, 67, *SCALE_PITCHES[4:])


def bends_marked(melodies: list) -> None:
    """The bent notes say so."""
    marks = [Technique(int(mark)) for mark in melodies[0].technique]
    assert Technique.BEND in marks[1]
    assert Technique.PRE_BEND in marks[2]
    assert Technique.RELEASE in marks[3]
    assert all(mark == 0 for mark in marks[4:])


def legato_marked(melodies: list) -> None:
    """Slide, hammer-on, pull-off and vibrato stand on some notes of the first bar, on none of the second."""
    marks = [Technique(int(mark)) for mark in melodies[0].technique]
    together = marks[0] | marks[1] | marks[2] | marks[3]
    for one in (Technique.SLIDE, Technique.HAMMER_ON, Technique.PULL_OFF, Technique.VIBRATO):
        assert one in together
    assert all(mark == 0 for mark in marks[4:])


def nested_tuplets() -> bytes:
    """A triplet of quarters over two beats whose middle third is a triplet of its own; 36 divisions a quarter."""
    outer = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
    inner = "<time-modification><actual-notes>9</actual-notes><normal-notes>4</normal-notes></time-modification>"
    parts = [("C4", 24, outer), ("D4", 8, inner), ("E4", 8, inner), ("F4", 8, inner), ("G4", 24, outer)]
    body = "".join(f"<note>{pitch_of(n)}<duration>{d}</duration><voice>1</voice>{m}</note>" for n, d, m in parts)
    rest = "".join(f"<note>{pitch_of(n)}<duration>36</duration><voice>1</voice></note>" for n in ("A4", "B4"))
    return whole(part(measure(attributes(divisions=36) + body + rest)))


def pitch_of(name: str) -> str:
    """``<pitch>`` of a natural."""
    return f"<pitch><step>{name[0]}</step><octave>{name[1]}</octave></pitch>"


def tempo_of(quarters: float):
    """A check of the tempo."""

    def check(melodies: list) -> None:
        assert melodies[0].tempo == quarters

    return check


METRONOME = (
    "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>132</per-minute></metronome>"
    '</direction-type><sound tempo="132"/></direction><direction><direction-type><words>Swing</words></direction-type>'
    "<sound><swing><first>2</first><second>1</second></swing></sound></direction>"
)
DAL_SEGNO = '<direction><direction-type><words>D.S. al Fine</words></direction-type><sound dalsegno="1"/></direction>'
FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'
NO_CHORD = "<harmony><root><root-step>C</root-step></root><kind text='N.C.'>none</kind></harmony>"
D_MINOR = "<harmony><root><root-step>D</root-step></root><kind>minor-seventh</kind></harmony>"
HARMONY_BAR = D_MINOR + note("R", 16)


def harmonies(melodies: list) -> None:
    """N.C. is no chord, Dm7 is one, in a bar without notes too."""
    found = [(c.onset // 10080, c.root, c.kind) for c in melodies[0].chords]
    assert found[0] == (0, None, "N")
    assert (4, 2, "m7") in found


UNPITCHED = (
    "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
    "<duration>4</duration><voice>1</voice><type>quarter</type></note>"
)
CUE = note("C6", 4, before="<cue/>")
HIDDEN = note("R", 4).replace("<note>", '<note print-object="no">')

SCORES = (
    Case(26, "notation and tab on two staves", two_staves(), check=nothing_doubled, **SCALE),
    Case(26, "notation and tab as two parts", two_parts(TAB_STAFF.format(1)), check=nothing_doubled, **SCALE),
    Case(26, "tab that only its frets tell", two_parts(""), check=nothing_doubled, **SCALE),
    Case(27, "guitar an octave down", one_octave_down(), pitches=tuple(p - 12 for p in SCALE_PITCHES), onsets=STEADY),
    Case(28, "changes of meter and key", changes(), check=changed, **SCALE),
    Case(29, "voices and double stops", two_voices(), remark=ANY, **SCALE),
    Case(30, "tie that never ends", bars(tied("C4", "start") + notes("D4 E4 F4"), notes(MORE)), **SCALE),
    Case(
        30,
        "tie to another pitch",
        bars(tied("C4", "start") + tied("D4", "stop") + notes("E4 F4"), notes(MORE)),
        **SCALE,
    ),
    Case(
        30,
        "tie over the bar",
        bars(notes("C4 D4 E4") + tied("F4", "start"), tied("F4", "stop") + notes("G4 A4 B4")),
        pitches=(60, 62, 64, 65, 67, 69, 71),
        onsets=(0, 1, 2, 3, 5, 6, 7),
    ),
    Case(
        31,
        "grace notes",
        bars(notes("C4 D4") + GRACE + GRACE + notes("E4 F4"), notes(MORE)),
        remark="2 grace notes",
        **SCALE,
    ),
    Case(
        32,
        "bend, pre-bend, release",
        bars(
            note("C4")
            + note("D4", after=technical(BEND))
            + note("E4", after=technical(PRE_BEND))
            + note("F4", after=technical(RELEASE)),
            notes(MORE),
        ),
        check=bends_marked,
        pitches=BENT_PITCHES,
        onsets=STEADY,
    ),
    Case(
        33,
        "slide, hammer-on, pull-off, vibrato",
        bars(
            note("C4", after=SLIDE.format("start"))
            + note("D4", after=SLIDE.format("stop") + technical(HAMMER.format("start")))
            + note("E4", after=technical(HAMMER.format("stop") + PULL.format("start")))
            + note("F4", after=technical(PULL.format("stop")) + WAVY),
            notes(MORE),
        ),
        check=legato_marked,
        **SCALE,
    ),
    Case(34, "repeat never closed", bars(FORWARD + notes(FOUR), notes(MORE)), **SCALE),
    Case(34, "D.S. without a sign", bars(notes(FOUR), notes(MORE) + DAL_SEGNO), **SCALE),
    Case(
        35,
        "nested tuplets",
        nested_tuplets(),
        pitches=(60, 62, 64, 65, 67, 69, 71),
        onsets=(0, 2 / 3, 8 / 9, 10 / 9, 4 / 3, 2, 3),
    ),
    Case(36, "swing and tempo", bars(METRONOME + notes(FOUR), notes(MORE)), check=tempo_of(132), **SCALE),
    Case(
        37,
        "no chord, and a bar of harmony only",
        bars(NO_CHORD + notes(FOUR), HARMONY_BAR, notes(MORE)),
        check=harmonies,
        pitches=SCALE_PITCHES,
        onsets=(0, 1, 2, 3, 8, 9, 10, 11),
    ),
    Case(
        38,
        "cue, hidden, unpitched",
        bars(notes("C4 D4") + CUE + UNPITCHED, notes("E4 F4 G4") + HIDDEN, notes("A4 B4 C5 R")),
        remark=ANY,
        pitches=SCALE_PITCHES,
        onsets=(0, 1, 4, 5, 6, 8, 9, 10),
    ),
    Case(39, "rests only", bars(note("R", 16), note("R", 16)), error="no notes"),
    Case(
        40,
        "senza misura",
        whole(
            part(
                measure(
                    "<attributes><divisions>4</divisions><time><senza-misura/></time></attributes>"
                    + notes(FOUR + " " + MORE)
                )
            )
        ),
        error=ANY,
        **SCALE,
    ),
)

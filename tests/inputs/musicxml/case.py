"""One MusicXML input with its exact notes or its exact error, and what several inputs are made of."""

from __future__ import annotations

from dataclasses import dataclass, field

from inputs.sixty.xml import attributes, measure, notes, part, whole

SCALE = "C4@0 D4@1 E4@2 F4@3 G4@4 A4@5 B4@6 C5@7"
FIRST, SECOND = "C4 D4 E4 F4", "G4 A4 B4 C5"
BACK = "<backup><duration>{}</duration></backup>"
FORWARD = "<forward><duration>{}</duration></forward>"


@dataclass(frozen=True)
class Case:
    """An input with its notes, or its error; `remarks` are whole remarks."""

    item: int
    title: str
    data: bytes
    notes: str = ""
    error: str = ""
    remarks: tuple[str, ...] = ()
    chords: str = ""
    meters: str = "4/4@0"
    first_beat: float = 1
    more: dict[str, object] = field(default_factory=dict)

    def __str__(self) -> str:
        return f"{self.item}-{self.title.replace(' ', '-')}"


def scale(**changes: object) -> bytes:
    """The scale in two bars, with other attributes."""
    return whole(part(measure(attributes(**changes) + notes(FIRST)) + measure(notes(SECOND), 2)))


def chord(root: str, kind: str, more: str = "") -> str:
    """A chord symbol."""
    return f"<harmony><root><root-step>{root}</root-step></root><kind>{kind}</kind>{more}</harmony>"


def tie(*kinds: str) -> str:
    """Ties of a note, drawn and sounding."""
    drawn = "".join(f"<tied type='{kind}'/>" for kind in kinds)
    return "".join(f"<tie type='{kind}'/>" for kind in kinds) + f"<notations>{drawn}</notations>"

"""Findings to make pages of: invented solos against the shipped fiddle tunes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from html.parser import HTMLParser

from helpers.places import ROOT
from helpers.written import written

from stylemeter.features import HABITS
from stylemeter.music.melody import Melody
from stylemeter.practice.advice import load_advice
from stylemeter.practice.findings import Settings, find_out
from stylemeter.style.profile import Profile, load_profile

SHIPPED = ROOT / "profiles" / "old-fiddle-tunes"

#: Four bars of scale runs in eighths (a letter a note, an octave up in small), as in ABC.
RUNS = "DEFGABcd edcBAGFE FGABcdef edcBAGFE"
MIXED = "DEFGABcd edcBAGFE DFAcdBAF GBdGBdGB"
#: What would run, turn lines or steer a terminal or a spreadsheet.
HOSTILE = (
    "</script><script>window.hacked=1</script><img src=x onerror='window.hacked=2'> \"quoted' & {{7*7}} "
    "\u05e9\u05dc\u05d5\u05dd \u202egnp.exe \U0001f3b8 \x1b[31m \ud800 " + "x" * 500
)
FORMULA = '=HYPERLINK("http://example.invalid","1")'
TAKES = {
    "dense": "\n".join([RUNS, MIXED, RUNS, RUNS, MIXED, RUNS, RUNS, RUNS]),
    "short": "DFAcdAFD",
}


def eighths(text: str) -> str:
    """Letters as eighths in the notation of `written`."""
    notes: list[str] = []
    for letter in text.replace("\n", "").replace(" ", ""):
        if letter == ":":  # as long again
            name, _, length = notes[-1].partition(":")
            notes[-1] = f"{name}:{Fraction(length) + Fraction(1, 2)}"
            continue
        octave = 5 if letter.islower() else 4
        # C starts an octave: c is the C above B
        notes.append(f"{letter.upper()}{octave}:1/2")
    return " ".join(notes)


@cache
def shipped() -> Profile:
    """The fiddle tunes as shipped, without what a calibration may have added."""
    return replace(load_profile(SHIPPED), calibration=None)


@cache
def calibrated() -> Profile:
    """The same with an invented calibration, in which lack of air can hardly be seen."""
    habits = {name: {"shown": 0.02, "hinted": 0.04} for name in HABITS}
    clean = {"excerpts": 400, "outside_mean": 0.087, "clear_mean": 0.31, "outside": {}, "habits": habits}
    seen = {
        name: {"whole": {"128": {"shown": 0.04 if name == "space" else 0.9, "hinted": 0.03, "excerpts": 200}}}
        for name in HABITS
    }
    return replace(load_profile(SHIPPED), calibration={"clean": {"128": clean}, "injected": seen})


def take(name: str = "dense", **more: object) -> Melody:
    """An invented solo of 32 bars, or a short one, in D dorian."""
    return replace(written(eighths(TAKES[name]), key="D dorian"), **({"title": "Harbour study (invented)"} | more))


def found(melody: Melody | None = None, profile: Profile | None = None, uncertain: float = 0.0):
    """All that is said of a solo against one style, which is the only one installed."""
    profile = profile or shipped()
    return find_out(take() if melody is None else melody, profile, [profile], load_advice(), Settings(0.9, uncertain))


@cache
def dense():
    """Findings of the 32 bars."""
    return found()


class Tree(HTMLParser):
    """A page as a list of (tag, attributes), and the text inside chosen elements."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []
        self.inside: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, {key: value or "" for key, value in attrs}))
        self.inside.append(tag)
        if tag in ("dt", "dd", "p", "li", "th", "td", "h1", "h2", "h3", "summary"):
            self.text.append(" ")

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, {key: value or "" for key, value in attrs}))

    def handle_endtag(self, tag):
        while self.inside and self.inside.pop() != tag:
            pass

    def handle_data(self, data):
        if not {"script", "style"} & set(self.inside):
            self.text.append(data)

    @property
    def words(self) -> str:
        """All that is read on the page, white space evened out."""
        return " ".join("".join(self.text).split())

    def all(self, tag: str = "", kind: str = "") -> list[dict[str, str]]:
        """Attributes of the elements of a tag and a class."""
        return [
            a for name, a in self.elements if tag in ("", name) and (not kind or kind in a.get("class", "").split())
        ]

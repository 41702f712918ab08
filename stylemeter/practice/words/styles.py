"""What a style is in a musician's words: who is compared with, and what that means for a guitar solo."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from stylemeter.style.profile import Profile
from stylemeter.support.texts import fill, load_texts, texts_file

__all__ = ["StyleWords", "style_words"]

_FILE = texts_file("styles")


@dataclass(frozen=True, slots=True)
class StyleWords:
    """What is said of a style.

    Attributes
    ----------
    who : str
        "905 sung melodies of Mandarin pop songs".
    like : str
        Whom one would sound like; empty where nobody said.
    means : str
        What a comparison with it means; empty where nobody said.
    """

    who: str
    like: str = ""
    means: str = ""


def style_words(profile: Profile) -> StyleWords:
    """What is said of a style: the shipped ones' own words, else the number of tunes and the style's name."""
    tunes = str(profile.tunes)
    said = _texts().get(profile.name)
    if said is None:
        return StyleWords(f"{tunes} {profile.style}")
    return StyleWords(fill(said["who"], tunes=tunes), said["like"], said["means"])


@lru_cache(maxsize=1)
def _texts() -> dict[str, dict[str, str]]:
    return load_texts(_FILE)

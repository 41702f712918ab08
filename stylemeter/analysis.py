"""The whole job: a file or a melody -> findings. The commands, the batch, the local page and notebooks call it.

Conventions: what is costly to load (styles, advice) is loaded once, by `prepare`; then each solo is one call. Which
style a solo is compared with where nobody named one is decided here and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from stylemeter.errors import UsageError, WrongTypeError
from stylemeter.music.melody import Melody
from stylemeter.placement.styles import rank_styles
from stylemeter.practice.advice import Advice, load_advice
from stylemeter.practice.findings import Findings, Settings, find_out
from stylemeter.practice.words import style_words
from stylemeter.style.profile import Profile, installed, load_profile

if TYPE_CHECKING:
    from stylemeter.reading import ReadOptions

__all__ = ["Analysis", "findings", "prepare"]


@dataclass(frozen=True)
class Analysis:
    """How solos are judged: made once by `prepare`, used for many.

    Attributes
    ----------
    profile : Profile or None
        The style every solo is compared with; None takes the one each is most typical of.
    styles : tuple of Profile
        The styles each solo is ranked in; `profile` is one of them.
    advice : Advice
    settings : Settings
    """

    profile: Profile | None
    styles: tuple[Profile, ...]
    advice: Advice
    settings: Settings

    def of(self, melody: Melody) -> Findings:
        """All that is said of one solo.

        Parameters
        ----------
        melody : Melody

        Returns
        -------
        Findings
        """
        if self.profile is not None:
            return find_out(melody, self.profile, self.styles, self.advice, self.settings)
        ranked = rank_styles(melody, self.styles)
        # those that can't tell stand last: where none can, the first of them is as good as any
        profile = next(s for s in self.styles if s.name == ranked[0].profile)
        return find_out(melody, profile, self.styles, self.advice, self.settings, ranked)

    def why_this_style(self, findings: Findings) -> str:
        """How the style compared with came to be chosen, in a sentence; empty where it was named."""
        if self.profile is not None:
            return ""
        chosen = findings.placement.profile.name
        known = not math.isnan(findings.styles[0].p)
        why = "the most typical style" if known else "which style is most typical can't be told"
        others = [f"{s.name}{_like(s)}" for s in self.styles if s.name != chosen]
        return f"compared with {chosen}, {why}; whom do you want to sound like? --profile " + ", ".join(others)


def _like(style: Profile) -> str:
    """Whom one would sound like, in brackets; nothing where nobody said."""
    like = style_words(style).like
    return f" ({like})" if like else ""


def prepare(
    profile: Profile | str | PathLike[str] | None = None,
    *,
    coverage: float = 0.9,
    uncertain: float | None = None,
    advice: str | PathLike[str] | None = None,
) -> Analysis:
    """Load what every solo is judged with.

    Parameters
    ----------
    profile : Profile, str or path, optional
        The style to compare with: a profile, its name or its folder. By default the one each solo is most typical
        of.
    coverage : float
        Share of the style that the norm holds, 0.5 to 0.99.
    uncertain : float, optional
        Share of the notes that may be wrong, 0 to 0.5; by default what the source says of itself.
    advice : path, optional
        An advice file of the teacher's own, laid over ours.

    Returns
    -------
    Analysis

    Raises
    ------
    UsageError
        If a share is out of range, there is no such profile, or none is installed at all.
    ProfileError, AdviceError
        If a profile or the advice file can't be used.
    """
    if not 0.5 <= coverage <= 0.99:
        raise UsageError(f"--coverage {coverage:g} is out of range", mend="0.5 to 0.99")
    if uncertain is not None and not 0 <= uncertain <= 0.5:
        raise UsageError(f"--uncertain-notes {uncertain:g} is out of range", mend="0 to 0.5")
    own = load_advice(advice)
    chosen = None if profile is None else load_profile(profile)
    styles = [chosen if chosen is not None and name == chosen.name else load_profile(name) for name in installed()]
    if chosen is not None and not any(style is chosen for style in styles):
        styles.append(chosen)
    if not styles:
        raise UsageError("no style is installed", mend="fit one: stylemeter fit --help")
    return Analysis(chosen, tuple(styles), own, Settings(coverage, uncertain))


def findings(
    solo: Melody | str | PathLike[str],
    profile: Profile | str | PathLike[str] | None = None,
    *,
    options: ReadOptions | None = None,
    coverage: float = 0.9,
    uncertain: float | None = None,
    advice: str | PathLike[str] | None = None,
) -> Findings:
    """Place a solo and gather all that is said of it: amounts, advice, what to practise first.

    Parameters
    ----------
    solo : Melody or path
        A file must hold one melody.
    profile : Profile, str or path, optional
        The style to compare with; by default the one the solo is most typical of.
    options : ReadOptions, optional
        How to read the file.
    coverage, uncertain, advice
        See `prepare`.

    Returns
    -------
    Findings

    Raises
    ------
    StylemeterError
        If the file, the profile or an option can't be used.

    Notes
    -----
    For many solos, `prepare` once and ask `Analysis.of` for each.
    """
    analysis = prepare(profile, coverage=coverage, uncertain=uncertain, advice=advice)
    if isinstance(solo, Melody):
        return analysis.of(solo)
    return analysis.of(_the_one(solo, options))


def _the_one(solo: str | PathLike[str], options: ReadOptions | None) -> Melody:
    """The melody of a file that holds one."""
    from stylemeter.reading import read

    if not isinstance(solo, str | PathLike):
        raise WrongTypeError.of("a solo", solo, "a melody or the path of a file")
    melodies: Sequence[Melody] = read(solo, options)
    if len(melodies) > 1:
        raise UsageError(f"{len(melodies)} melodies in it", where=str(Path(solo)), mend="read it and choose one")
    return melodies[0]

"""The whole job: a file or a melody -> findings; takes -> what moved; a style -> what it can show.

The commands, the batch, the local page and notebooks call it.

Conventions: what is costly to load (styles, advice) is loaded once, by `prepare`; then each solo is one call. Which
style a solo is compared with where nobody named one is decided here and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from stylemeter.errors import ProfileError, UsageError, WrongTypeError
from stylemeter.music.melody import Melody, checked
from stylemeter.placement.styles import rank_styles
from stylemeter.practice.advice import Advice, load_advice
from stylemeter.practice.findings import Findings, Settings, find_out
from stylemeter.practice.words import style_words
from stylemeter.style.profile import Profile, load_profile, usable_styles

if TYPE_CHECKING:
    from stylemeter.reading import ReadOptions
    from stylemeter.takes.progress import By, Progress

__all__ = ["Analysis", "calibrate", "findings", "prepare", "progress"]


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
    passed_over : tuple of str
        A line for each installed style that can't be used: it is missed in the ranking, and stops nothing.
    """

    profile: Profile | None
    styles: tuple[Profile, ...]
    advice: Advice
    settings: Settings
    passed_over: tuple[str, ...] = ()

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
    there, passed_over = usable_styles()
    styles = [chosen if chosen is not None and style.name == chosen.name else style for style in there]
    if chosen is not None and not any(style is chosen for style in styles):
        styles.append(chosen)
    if not styles:
        raise UsageError("no style is installed", mend="fit one: stylemeter fit --help")
    return Analysis(chosen, tuple(styles), own, Settings(coverage, uncertain), tuple(passed_over))


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

    Examples
    --------
    >>> from stylemeter import Melody
    >>> scale = Melody.from_arrays([i / 2 for i in range(32)], [60, 62, 64, 65, 67, 65, 64, 62] * 4, key="C major")
    >>> found = findings(scale, "pop-songs")
    >>> found.first.kind, found.placement.profile.name
    ('habit', 'pop-songs')
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


def progress(
    takes: str | PathLike[str] | Sequence[str | PathLike[str] | Melody],
    profile: Profile | str | PathLike[str],
    *,
    by: By = "name",
    options: ReadOptions | None = None,
) -> Progress:
    """Follow takes of one player over time: whether a habit or a trait moved.

    Parameters
    ----------
    takes : path, or sequence of path or Melody
        Files and folders of them, put in order; or melodies, in the order given.
    profile : Profile, str or path
        The style they are compared with.
    by : {"name", "date"}
        Order of files: by their names, numbers in them counted, or when they were last changed.
    options : ReadOptions, optional
        How to read the files.

    Returns
    -------
    Progress

    Raises
    ------
    InputError
        If a file can't be read, or fewer than two takes are long enough.
    UsageError, ProfileError
        If an option or the profile can't be used.

    Notes
    -----
    Six takes are the fewest that can tell a change from chance.

    Examples
    --------
    >>> takes = [Melody.from_arrays(range(32), [60 + (i * k) % 12 for i in range(32)]) for k in (1, 2, 5, 7)]
    >>> followed = progress(takes, "pop-songs")
    >>> followed.length, followed.missing
    (16, 2)
    """
    from stylemeter.takes.progress import follow

    given = [takes] if isinstance(takes, str | PathLike) else list(takes)
    if given and all(isinstance(take, str | PathLike) for take in given):
        return follow(_read_in_order(given, by, options), load_profile(profile))  # type: ignore[arg-type]
    return follow([checked(take, "a take") for take in given], load_profile(profile))


def _read_in_order(paths: Sequence[str | PathLike[str]], by: By, options: ReadOptions | None) -> list[Melody]:
    """The melodies of the files named or in the folders named, in order."""
    from stylemeter.reading import Session
    from stylemeter.takes.progress import in_order

    melodies: list[Melody] = []
    with Session() as session:
        for result in session.read_all(in_order(paths, by), options):
            if result.error is not None:
                raise result.error
            melodies += result.melodies
    return melodies


def calibrate(
    profile: Profile | str | PathLike[str],
    tunes: Sequence[Melody] | None = None,
    *,
    inject: bool = True,
    excerpts: int = 1000,
    seed: int = 0,
    open_data: Path | None = None,
    workers: int = 1,
    progress: Callable[[str, int, int], None] | None = None,
) -> Profile:
    """Measure how often a style flags held-out tunes of its own, and which habits it can show.

    Its families are dealt into five folds, and each fold is placed against the others.

    Parameters
    ----------
    profile : Profile, str or path
    tunes : sequence of Melody, optional
        What it was fitted from; by default its collections are read again.
    inject : bool
        Whether to put each habit into clean tunes, too.
    excerpts : int
        Excerpts a length at most.
    seed : int
        Of the folds and of what is put in.
    open_data : Path, optional
        Folder of the collections the user fetched.
    workers : int
        Processes to read with.
    progress : callable, optional
        Called with "reading" or "checking", how much is done, and how much there is.

    Returns
    -------
    Profile
        The same with its `calibration`; `Profile.save` keeps it.

    Raises
    ------
    ProfileError
        If the tunes are not those it was fitted from, or too few.
    """
    from stylemeter.placement.trust.calibrate import Settings as Checks
    from stylemeter.placement.trust.calibrate import calibrate as check
    from stylemeter.style.fit import gather_profile
    from stylemeter.style.rung import FAMILIES_FOR_RUNG

    told = progress or (lambda *_: None)
    style = load_profile(profile)
    sample = gather_profile(style, open_data, workers, lambda d, n: told("reading", d, n), tunes)
    checks = Checks(most=excerpts, seed=seed)
    result = check(sample, checks, with_injections=inject, progress=lambda d, n: told("checking", d, n))
    if not result["clean"]:
        raise ProfileError(
            f"too few tune families to calibrate: {FAMILIES_FOR_RUNG} must be left at a length without a fifth of them",
            where=style.name,
            mend="fit it from more tunes",
        )
    return replace(style, calibration=result)

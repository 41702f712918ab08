"""Texts of the overview of a class and of the page of progress: access to ``class.toml``."""

from __future__ import annotations

import math

from stylemeter.support.texts import Texts, texts_of

__all__ = ["of_hundred", "say", "texts"]


def texts() -> Texts:
    """The texts by "section.name".

    Raises
    ------
    StylemeterError
        If an entry is not a text.
    """
    return texts_of("class")


def say(name: str, number: float = 0, /, **parts: object) -> str:
    """Fill in a text.

    Parameters
    ----------
    name : str
        "section.name".
    number : float
        Chooses between one and many.
    parts : object
        What is filled in, by name.

    Examples
    --------
    >>> say("class.solos", 1, count=1), say("class.solos", 12, count=12)
    ('1 solo', '12 solos')
    """
    return texts().say(name, number, **parts)


def of_hundred(percentile: float | None) -> str:
    """A percentile as a whole number of tunes out of 100, never 0 or 100; empty where it is unknown.

    Examples
    --------
    >>> of_hundred(97.4), of_hundred(99.8), of_hundred(0.2), of_hundred(None)
    ('97', '99', '1', '')
    """
    if percentile is None or not math.isfinite(percentile):
        return ""
    return str(min(99, max(1, math.floor(percentile + 0.5))))

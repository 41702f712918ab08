"""A vocabulary for the terminal: each figure once, in 80 columns, plain text through a pipe."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from rich.text import Text

from stylemeter.practice.vocabulary import Figure, Shared, TakeVocabulary
from stylemeter.report.classroom.terminal import WIDTH, put_out
from stylemeter.report.vocabulary.document import (
    figure_name,
    figure_sentences,
    head,
    missed_sentence,
    shared_sentence,
    stock_sentences,
)
from stylemeter.report.vocabulary.words import say
from stylemeter.style.profile import Profile

__all__ = ["print_vocabulary"]

#: Figures told of a take and patterns it hardly plays; figures told between takes.
LEANED_MOST, OTHERS_MOST, MISSED_MOST, SHARED_MOST = 8, 3, 5, 8


def print_vocabulary(
    takes: Sequence[TakeVocabulary], shared: Sequence[Shared], profile: Profile | None, group: str = ""
) -> None:
    """Print takes and what they share.

    Parameters
    ----------
    takes : sequence of TakeVocabulary
        Of one player or group, in order.
    shared : sequence of Shared
    profile : Profile or None
        Style they are compared with.
    group : str
        Name of the group; empty for none.
    """
    blocks = []
    if group:
        count = say("vocabulary.takes", len(takes), count=len(takes))
        blocks.append(Text(say("vocabulary.group", name=group, takes=count), style="bold"))
    for take in takes:
        blocks += _take(take, profile)
    if len(takes) > 1:
        blocks += _between(takes, shared, profile)
    blocks.append(Text(say("vocabulary.difference"), style="dim"))
    put_out(*blocks)


def _take(take: TakeVocabulary, profile: Profile | None) -> Iterator[Text]:
    yield Text(head(take, profile), style="bold")
    if profile is not None and take.reason:
        yield _line(say("vocabulary.reason", reason=take.reason))
    told = take.told
    judged = profile is not None and not take.reason
    yield from _figures(take, profile, judged=judged)
    if not told:
        yield _line(say("vocabulary.nothing"))
    if judged:
        yield from _rest(take, profile)
    elif stock := stock_sentences(take):
        yield _line(" ".join(stock))
    yield Text("")


def _figures(take: TakeVocabulary, profile: Profile | None, *, judged: bool) -> Iterator[Text]:
    """What comes back, what is leaned on first."""
    leaned = [f for f in take.told if f.leaned_on]
    others = [f for f in take.told if not f.leaned_on]
    if leaned:
        yield Text(say("vocabulary.leans") + ":")
    elif judged and others:
        yield _line(say("vocabulary.nothing_leaned"))
    for f in leaned[:LEANED_MOST]:
        yield _figure(take, f, profile)
    if others:
        yield Text(say("vocabulary.comes_back" if judged else "vocabulary.comes_back_plain") + ":")
    for f in others[:OTHERS_MOST]:
        yield _figure(take, f, profile)
    more = len(leaned[LEANED_MOST:]) + len(others[OTHERS_MOST:])
    if more:
        yield _line(say("vocabulary.more", more, count=more))


def _rest(take: TakeVocabulary, profile: Profile | None) -> Iterator[Text]:
    """What is missing, and what the take is made of."""
    assert profile is not None
    avoided = [m for m in take.missed if m.avoided]
    if take.stretches > 1:
        yield _line(say("vocabulary.stretches", count=take.stretches))
    elif avoided:
        yield Text(say("vocabulary.hardly") + ":")
        for m in avoided[:MISSED_MOST]:
            yield _line(missed_sentence(m, profile))
    if stock := stock_sentences(take):
        yield Text(say("vocabulary.stock") + ":")
        yield _line(" ".join(stock))


def _figure(take: TakeVocabulary, f: Figure, profile: Profile | None) -> Text:
    return _line(figure_name(take, f) + ". " + " ".join(figure_sentences(take, f, profile)))


def _between(takes: Sequence[TakeVocabulary], shared: Sequence[Shared], profile: Profile | None) -> Iterator[Text]:
    yield Text(say("vocabulary.between") + ":", style="bold")
    melodies = [t.melody for t in takes]
    for s in shared[:SHARED_MOST]:
        yield _line(shared_sentence(s, melodies, profile))
    if len(shared) > SHARED_MOST:
        more = len(shared) - SHARED_MOST
        yield _line(say("vocabulary.more", more, count=more))
    if not shared:
        yield _line(say("vocabulary.nothing_between"))


def _line(text: str) -> Text:
    return Text(textwrap.fill(text, WIDTH - 2, initial_indent="  ", subsequent_indent="    "))

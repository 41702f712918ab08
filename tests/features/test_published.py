"""Features against published tables and worked examples, and against general-purpose libraries."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from helpers.folk_abc import read_file
from helpers.melodies import corpus_folder, folk_melody
from helpers.written import in_pitches, in_rhythm
from scipy.spatial.distance import jensenshannon
from scipy.stats import entropy as scipy_entropy
from scipy.stats import spearmanr

from stylemeter.features import Line, distributions, measure
from stylemeter.features.motif import lz76
from stylemeter.music.meter import TICKS, position_weight


def value(name, melody):
    return measure(melody).values[name]


def bars_of(onsets, bars, pulses=16, pulse=Fraction(1, 4)):
    """Lengths of a bar's onsets (pulse numbers, the first 0), each note held to the next, `bars` times."""
    edges = [*onsets, pulses]
    return [pulse * (edges[i + 1] - edges[i]) for i in range(len(onsets))] * bars


# syncopation: H. C. Longuet-Higgins & C. S. Lee, Music Perception 1(4):424-441, 1984 ----------------------------------

#: Their figure 9 and further examples of a transcription of the measure (H. Honing 2002, L. Smith 2005), which counts
#: strength + 1: durations in units, unit in quarters, meter, strength a bar (R - N where R > N).
LHL_EXAMPLES = [
    ((1, 3), 1, "4/4", 1),
    ((2, 1, 3, 2), "1/2", "4/4", 2),
    ((3, 1), 1, "4/4", 0),
    ((2, 1), 1, "3/4", 0),
    ((1, 2), 1, "3/4", 0),  # R = N: strength 0
    ((1, 2, 1), 1, "4/4", 1),
    ((1, 2, 1, 1, 3), "1/2", "4/4", 2),  # 1 + 1
    ((1, 4, 3), "1/2", "4/4", 3),  # 2 + 1
    ((1, 2, 2, 2, 1), "1/2", "4/4", 4),  # 1 + 2 + 1
    ((3, 1, 2), "1/2", "6/8", 0),  # R = N
]


@pytest.mark.parametrize(("durations", "unit", "meter", "strength"), LHL_EXAMPLES)
def test_syncopation_examples_of_the_paper(durations, unit, meter, strength):
    melody = in_rhythm([d * Fraction(unit) for d in durations] * 12, meter=meter)
    assert value("syncopation_index", melody) == strength


#: G. Toussaint's six timelines of 16 pulses (Bridges 2002); the scores are the definition's own, note by note, wrapped.
TIMELINES = {
    "shiko": ((0, 4, 6, 10, 12), 2),
    "son": ((0, 3, 6, 10, 12), 4),
    "rumba": ((0, 3, 7, 10, 12), 5),
    "soukous": ((0, 3, 6, 10, 11), 6),
    "gahu": ((0, 3, 6, 10, 14), 5),
    "bossa-nova": ((0, 3, 6, 10, 13), 6),
}


@pytest.mark.parametrize("name", TIMELINES)
def test_syncopation_of_timelines(name):
    onsets, score = TIMELINES[name]
    assert value("syncopation_index", in_rhythm(bars_of(onsets, 3))) == score


@pytest.mark.parametrize(
    ("name", "cyclic"),
    # nPVI of the timelines as cycles: recomputed from the formula of Grabe & Low
    [("shiko", 53.33), ("son", 38.10), ("rumba", 38.48), ("soukous", 66.38), ("gahu", 27.05), ("bossa-nova", 11.43)],
)
def test_npvi_of_timelines(name, cyclic):
    # three cycles and the first length again: every pair of neighbours in the cycle three times
    cycle = bars_of(TIMELINES[name][0], 1)
    assert value("npvi", in_rhythm([*cycle * 3, cycle[0], 1])) == pytest.approx(cyclic, abs=0.005)


def test_syncopation_of_the_worked_rhythm():
    """W. T. Fitch & A. J. Rosenfeld, Music Perception 25(1):43-58, 2007, figure 1: (-2+3) + (-2+3) + (0+3) = 5.

    Onsets 2 6 8 10 14 of 16, looped; the last time round nothing follows, so the loop's 0 + 3 is missing once.
    """
    lengths = [Fraction(n, 4) for n in (4, 2, 2, 4, 4)] * 4
    lengths[-1] = Fraction(2, 4)
    melody = in_rhythm(lengths, spans=[(-2 * TICKS // 4 + bar * 4 * TICKS, 4 * TICKS) for bar in range(4)])
    span_in_bars = Fraction(4 * 16 - 2, 16)
    assert value("syncopation_index", melody) * float(span_in_bars) == pytest.approx(4 * 5 - 3)


#: I. Shmulevich & D.-J. Povel, JNMR 29(1):61-69, 2000: judged complexity (1-5), pattern, plain LHL score. One pattern
#: stands twice, with two ratings: a slip of the transcription the published error was computed with.
RATED = [
    row.split()
    for row in (
        "1.56 1111100110101000 0",
        "2.12 1110101110011000 0",
        "2.08 1011101110011000 0",
        "1.88 1010111110011000 0",
        "1.80 1001101011111000 0",
        "2.44 1110111011001000 1",
        "2.20 1011110110011000 1",
        "2.56 1100111110101000 1",
        "3.00 1100101110111000 1",
        "2.04 1011101111001000 1",
        "2.76 1110110011011000 2",
        "2.72 1101111010011000 1",
        "3.00 1101101111001000 2",
        "3.16 1100110110111000 2",
        "2.04 1001110111011000 2",
        "2.88 1101111011001000 2",
        "2.60 1101110111001000 3",
        "2.60 1101110011011000 3",
        "2.64 1100110111101000 2",
        "3.24 1100110111101000 2",
        "3.08 1111101101001000 4",
        "3.04 1111010011101000 3",
        "3.04 1110011011101000 1",
        "2.56 1011100101111000 3",
        "2.56 1010011110111000 1",
        "2.84 1111010100111000 6",
        "3.60 1101110100111000 5",
        "2.68 1101001110111000 3",
        "3.28 1011110100111000 4",
        "3.08 1001111101101000 3",
        "3.52 1111011100101000 5",
        "3.60 1111001101101000 5",
        "3.04 1101111001101000 3",
        "2.88 1101001111101000 3",
        "3.08 1010011101111000 4",
    )
]
RATINGS = [float(rating) for rating, _, _ in RATED]
PATTERNS = [[i for i, pulse in enumerate(pattern) if pulse == "1"] for _, pattern, _ in RATED]
SCORES = [int(score) for _, _, score in RATED]


@pytest.mark.parametrize(("onsets", "score"), list(zip(PATTERNS, SCORES, strict=True)), ids=[row[1] for row in RATED])
def test_syncopation_of_rated_rhythms(onsets, score):
    assert value("syncopation_index", in_rhythm(bars_of(onsets, 2))) == score


def test_syncopation_follows_judged_complexity():
    assert len(RATINGS) == 35
    found = [value("syncopation_index", in_rhythm(bars_of(onsets, 2))) for onsets in PATTERNS]
    assert spearmanr(found, RATINGS).statistic > 0.7


def test_metrical_weights_give_the_published_error():
    """With R - N + 1 where R >= N, scaled to 1..5, the RMSE is 0.74881889 (0.7488189 in L. Smith's transcription)."""

    def plus_one(onsets):
        weights = [position_weight(pulse * TICKS // 4, 4, 4) for pulse in range(16)]
        total = 0
        for here, following in itertools.pairwise([*onsets, 16]):
            greatest = max(weights[here + 1 : following], default=-99)
            total += max(0, greatest - weights[here] + 1)
        return total

    found = np.array([plus_one(onsets) for onsets in PATTERNS])
    scaled = 1 + 4 * found / found.max()
    assert math.sqrt(np.mean((scaled - RATINGS) ** 2)) == pytest.approx(0.74881889, abs=1e-6)


# nPVI: E. Grabe & E. L. Low 2002 --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lengths", "wanted"),
    [
        ([1] * 14, 0),
        ([1, Fraction(1, 2)] * 8, 66.6667),  # docstring of music21.analysis.patel.nPVI
        # the formula on 1 2 3, on 3 3 6 and on 4 6 8; here to and fro, so that the same pairs recur
        ([1, 2, 3, 2] * 3 + [1, 1], 53.3333),
        ([3, 3, 6, 6] * 3 + [3, 3], 33.3333),
        ([4, 6, 8, 6] * 3 + [4, 4], 34.2857),
        ([Fraction(3, 4), Fraction(1, 4)] * 8, 100),  # the formula's own
    ],
)
def test_npvi_values(lengths, wanted):
    # the last note has no inter-onset interval
    assert value("npvi", in_rhythm(lengths)) == pytest.approx(wanted, abs=5e-5)


def test_npvi_as_in_music21():
    """music21's own, on durations, in its docstring 12.96296 for the soprano of a chorale; ours is of onsets."""
    from music21 import corpus
    from music21.analysis.patel import nPVI

    notes = list(corpus.parse("bwv66.6", forceSource=True).parts[0].flatten().notes)
    lengths = [Fraction(n.quarterLength) for n in notes]
    assert nPVI(notes) == pytest.approx(12.96296, abs=1e-5)
    assert value("npvi", in_rhythm([*lengths, 1])) == pytest.approx(nPVI(notes), abs=1e-9)


# entropy and divergence -----------------------------------------------------------------------------------------------


def test_entropy_of_the_textbook_example():
    """T. M. Cover & J. A. Thomas, Elements of Information Theory, example 1.1.2: 1/2 1/4 1/8 1/16 4 x 1/64, 2 bits."""
    lengths = ["1/2"] * 32 + ["1"] * 16 + ["1/4"] * 8 + ["2"] * 4 + ["3", "3/2", "3/4", "4"]
    assert value("note_value_entropy", in_rhythm([Fraction(v) for v in lengths])) == 2.0
    # and 8 equal ones: 3 bits
    assert value("ioi_entropy", in_rhythm([Fraction(v, 8) for v in range(1, 9)] * 3 + [1])) == 3.0


@pytest.mark.parametrize(("classes", "bits"), [(12, 3.584963), (7, 2.807355), (5, 2.321928)])
def test_entropy_of_equal_shares(classes, bits):
    # log2 of the number of classes
    assert value("degree_entropy", in_pitches(list(range(60, 60 + classes)) * 4)) == pytest.approx(bits, abs=5e-7)


def random_pitches(count, seed):
    return np.random.default_rng(seed).integers(55, 80, count).tolist()


@pytest.mark.parametrize("seed", range(5))
def test_entropies_as_in_scipy(seed):
    pitches = random_pitches(90, seed)
    lengths = [Fraction(int(v), 4) for v in np.random.default_rng(seed).integers(1, 9, 90)]
    melody = in_rhythm(lengths, pitches)

    def bits(values):
        return scipy_entropy(np.unique(values, return_counts=True)[1], base=2)

    assert value("interval_entropy", melody) == pytest.approx(bits(np.diff(pitches).clip(-12, 12)), abs=1e-12)
    assert value("degree_entropy", melody) == pytest.approx(bits(np.array(pitches) % 12), abs=1e-12)
    assert value("note_value_entropy", melody) == pytest.approx(bits([float(v) for v in lengths]), abs=1e-12)
    assert value("ioi_entropy", melody) == pytest.approx(bits([float(v) for v in lengths[:-1]]), abs=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_degree_drift_as_in_scipy(seed):
    pitches = random_pitches(75, seed)  # four windows, eleven notes dropped
    shares = [np.bincount(np.array(pitches[i : i + 16]) % 12, minlength=12) / 16 for i in range(0, 64, 16)]
    wanted = np.mean([jensenshannon(a, b, base=2) ** 2 for a, b in itertools.pairwise(shares)])
    assert value("degree_drift", in_pitches(pitches)) == pytest.approx(wanted, abs=1e-12)


def test_degree_drift_of_the_documented_example():
    """scipy's documentation: (1, 0) and (1/2, 1/2) lie 0.46450140402245893 apart (nats); disjoint ones 1 (base 2)."""
    half = value("degree_drift", in_pitches([60] * 16 + [60, 67] * 8))
    assert half == pytest.approx(0.46450140402245893**2 / math.log(2), abs=1e-12)
    assert value("degree_drift", in_pitches([60] * 16 + [67] * 16)) == pytest.approx(1.0, abs=1e-12)


# LZ76: A. Lempel & J. Ziv, IEEE Trans. Information Theory 22(1):75-81, 1976 -------------------------------------------

LZ76 = {
    "0001101001000101": 6,  # the paper's, p. 76: 0 . 001 . 10 . 100 . 1000 . 101
    "010": 3,
    "0001": 2,
    "1010101010": 3,
    "1111111": 2,
    "1001111011000010": 6,
    "1001111011000010000010": 7,
    "100111101100001000001010": 8,
    "111011111001111011111001": 6,
    "01011010001101110010": 7,
    "AZSEDRFTGYGUJIJOKB": 16,
    "ABCABCABCABCABCABC": 4,
}


@pytest.mark.parametrize("text", LZ76)
def test_components_of_published_strings(text):
    assert lz76(text) == LZ76[text]


@pytest.mark.parametrize("text", [t for t in LZ76 if len(t) >= 12])
def test_lz_complexity_of_published_strings(text):
    # each symbol an interval: a repeated note or a step for the digits, one size a letter for the words
    sizes = {symbol: size for size, symbol in enumerate(sorted(set(text)))}
    pitches = [60]
    for symbol in text:
        step = sizes[symbol]
        pitches.append(pitches[-1] + step if len(sizes) == 2 else pitches[-1] + (step - len(sizes) // 2))
    assert value("lz_complexity", in_pitches(pitches)) == LZ76[text] / len(text)


# intervals ------------------------------------------------------------------------------------------------------------


def balanced_walk(counts, start=64):
    """A walk that takes every interval as often as it is counted, turning to where there is room."""
    left, pitches = dict(counts), [start]
    while any(left.values()):
        wanted = 1 if pitches[-1] < 64 else -1
        moves = sorted((k for k in left if left[k]), key=lambda k: (k * wanted <= 0, -left[k]))
        left[moves[0]] -= 1
        pitches.append(pitches[-1] + moves[0])
    return pitches


def test_intervals_of_ten_songs_by_schubert():
    """D. Huron's published count: 129 leaps up, 98 down, 163 steps up, 338 down, 216 unisons.

    Fed as 944 synthetic intervals: leaps of 5 semitones (there from 4 on), steps of 2.
    """
    pitches = balanced_walk({5: 129, -5: 98, 2: 163, -2: 338, 0: 216})
    assert len(pitches) == 945
    melody = in_pitches(pitches)
    assert value("step_share", melody) == pytest.approx(0.5307, abs=5e-5)
    assert value("repeated_note_share", melody) == pytest.approx(0.2288, abs=5e-5)
    assert value("leap_share", melody) == 227 / 944
    cells = dict(zip(range(-12, 13), distributions(Line(melody))["intervals"], strict=True))
    assert cells[5] / (cells[5] + cells[-5]) == pytest.approx(0.568, abs=5e-4)
    assert cells[-2] / (cells[2] + cells[-2]) == pytest.approx(0.675, abs=5e-4)


#: Extractors of music21.features by their id there, where the definition is ours: shares of the melodic intervals that
#: are 0, a semitone, a second, a third; mean size; classes used; range.
COINCIDING = {
    "m9": "repeated_note_share",
    "m10": "semitone_share",
    "m11": "step_share",
    "m12": "skip_share",
    "m2": "mean_interval",
    "p9": "pitch_class_count",
    "p10": "pitch_range",
}


def test_what_music21_extracts_too():
    folder = corpus_folder()
    if folder is None:
        pytest.skip("music21's corpus folder is not installed")
    from music21 import note, stream
    from music21.features import extractorsById

    tunes = [t for t in read_file(folder / "oneills1850" / "0101-0200.abc") if t.meter and len(t.notes) > 40][:4]
    assert len(tunes) == 4
    for tune in tunes:
        part = stream.Part([note.Note(pitch, quarterLength=length) for _, length, pitch, _ in tune.notes])
        score = stream.Score([part])
        found = measure(folk_melody(tune)).values
        for number, name in COINCIDING.items():
            theirs = extractorsById([number])[0](score).extract().vector[0]
            assert found[name] == pytest.approx(theirs, abs=1e-9), f"{tune.where}: {name}"

"""Choose what a path of the decoder pays, on development takes: notes the training knows, lines and rooms it does not.

python -m training.tune --sounds FOLDER
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from stylemeter.reading.audio.confidence import evidence_of
from stylemeter.reading.audio.decoder import Price
from stylemeter.reading.audio.listen import understood
from stylemeter.reading.audio.network import Heard, hear
from stylemeter.reading.audio.spectra import RATE
from training import sounds
from training.lines import Stroke
from training.render import render
from training.score import Score, score
from training.takes import (
    Played,
    amped,
    clicked,
    echoed,
    expressive,
    in_room,
    line,
    phoned,
    shoebox,
    stopped,
    with_noise,
)


def development(bank: Path, seed: int = 5, rounds: int = 2) -> Iterator[tuple[str, np.ndarray, list[Played]]]:
    """Takes and what they are for."""
    rng = np.random.default_rng(seed)
    sets = [sounds.load(bank / f"{name}.npz") for name in sounds.SETS]
    for _ in range(rounds):
        for kind in (
            "dry",
            "repeats",
            "muted",
            "amp",
            "room",
            "phone",
            "noise",
            "clicks",
            "echo",
            "double",
            "chords",
            "bends",
        ):
            guitar = sounds.strings(rng) if rng.random() < 0.6 else sets[int(rng.integers(len(sets)))]
            tempo = float(rng.choice([76, 100, 132]))
            rhythm = "plain" if kind in ("bends", "chords") else str(rng.choice(["plain", "mixed", "dense", "triplet"]))
            notes, _ = line(
                rng, tempo, int(18 / 60 * tempo), rhythm, low=40, high=80, repeats=0.4 if kind == "repeats" else 0.08
            )
            if kind == "bends":
                notes = expressive(notes, rng, 0.5, 0.4)
            if kind in ("double", "chords"):
                notes = stopped(notes, rng, 0.4, kind == "chords")
            strokes = []
            for n in notes:
                how = (
                    "mute"
                    if kind == "muted" and rng.random() < 0.8
                    else "bend"
                    if n.bend
                    else "vibrato"
                    if n.vibrato
                    else "pick"
                )
                strokes.append(Stroke(n.time, n.length, n.pitch, n.strength, how, n.bend, "up"))
            x, _ = render(
                strokes,
                guitar,
                rng,
                notes[-1].time + 2,
                float(rng.uniform(0.2, 0.6)) if rng.random() < 0.3 else None,
                0.0,
            )
            x = x / np.abs(x).max() * np.float32(0.7)
            if kind == "amp":
                x = amped(x, float(rng.choice([4, 20])))
            if kind in ("room", "phone"):
                x = in_room(x, shoebox(rng, (5.0, 4.0, 2.7), float(rng.choice([0.4, 0.9])), float(rng.uniform(0.7, 2))))
            if kind == "phone":
                x = phoned(x, rng)
            if kind == "noise":
                x = with_noise(x, rng, 12)
            if kind == "clicks":
                x = clicked(x, tempo, -4)
            if kind == "echo":
                x = echoed(x, float(rng.uniform(0.12, 0.5)), float(rng.uniform(0.2, 0.5)))
            yield kind, x, notes


def total(held: list[tuple[str, Heard, list[Played], float]], price: Price) -> tuple[float, dict[str, Score]]:
    """Mean F1 of the kinds of takes, and their scores."""
    kinds: dict[str, Score] = {}
    for kind, heard, notes, seconds in held:
        kinds[kind] = kinds.get(kind, Score()) + score(notes, understood(heard, price=price).notes, seconds)[0]
    return float(np.mean([s.f1 for s in kinds.values()])), kinds


def confidence(held: list[tuple[str, Heard, list[Played], float]], price: Price) -> None:
    """Fit the weights of `confidence` and print how honest they are."""
    from sklearn.linear_model import LogisticRegression

    rows, right = [], []
    for _, heard, notes, seconds in held:
        found = understood(heard, price=price).notes
        hit = {b for _, b in score(notes, found, seconds)[1]}
        rows.append(evidence_of(found, heard))
        right += [i in hit for i in range(len(found))]
    table, label = np.concatenate(rows), np.array(right)
    model = LogisticRegression(C=1.0).fit(table, label)
    p = model.predict_proba(table)[:, 1]
    print(
        "WEIGHTS",
        tuple(round(float(w), 3) for w in (*model.coef_[0], model.intercept_[0])),
        len(label),
        "notes",
        round(label.mean(), 4),
    )
    for low, high in ((0, 0.3), (0.3, 0.6), (0.6, 0.85), (0.85, 0.95), (0.95, 1)):
        inside = (p >= low) & (p < high)
        print(f"{low}-{high}: {inside.sum()} notes, said {p[inside].mean():.3f}, right {label[inside].mean():.3f}")


def main() -> None:
    """Change one price after the other as long as it helps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sounds", type=Path, required=True)
    parser.add_argument("--rounds", type=int, default=2)
    args = parser.parse_args()
    held = [(kind, hear(x), notes, len(x) / RATE) for kind, x, notes in development(args.sounds, rounds=args.rounds)]
    price = Price()
    best, kinds = total(held, price)
    print("start", round(best, 4), {k: (round(s.f1, 3), round(s.extra, 1)) for k, s in kinds.items()}, flush=True)
    grid = {
        "glide": (1.5, 2.5, 3.5, 5.0), "onset": (0.0, 0.5, 1.0), "frame": (0.2, 0.3, 0.5), "candidate": (0.08, 0.12, 0.2),
        "jump": (7.0, 9.0), "shortest": (0.03, 0.04, 0.05),
    }  # fmt: skip
    for name, values in grid.items():
        for value in values:
            tried = replace(price, **{name: value})
            found, _ = total(held, tried)
            if found > best + 1e-4:
                best, price = found, tried
        print(name, getattr(price, name), round(best, 4), flush=True)
    best, kinds = total(held, price)
    print(price, {k: (round(s.f1, 3), round(s.extra, 1)) for k, s in kinds.items()})
    confidence(held, price)


if __name__ == "__main__":
    main()

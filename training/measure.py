"""The table of results: every condition on fresh takes.

    python -m training.measure --seed 7001 --sounds FOLDER [--takes 12] [--only rooms]

FOLDER holds the held-out sample set made by `training.sounds`. Needs fluidsynth and the three sound fonts of
`training.takes`; figures are for seeds that no choice was made on.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from stylemeter.reading.audio.decoder import Note
from stylemeter.reading.audio.spectra import RATE
from training import sounds
from training.lines import Stroke
from training.render import render
from training.score import Score, score
from training.takes import (
    FONTS,
    GUITARS,
    Played,
    Take,
    amped,
    band,
    clicked,
    coded,
    detuned,
    echoed,
    expressive,
    fluid,
    hummed,
    in_room,
    level,
    line,
    phoned,
    shoebox,
    stopped,
    with_noise,
)  # fmt: skip

TEMPI = (66, 84, 96, 112, 126, 144, 160)
CLEAN = ("nylon", "steel", "jazz", "clean")


def by_fonts(
    seed: int, count: int, guitars: tuple[str, ...] = CLEAN, fonts: tuple[str, ...] = tuple(FONTS), **how
) -> list[Take]:
    """Takes shared out over fonts and guitars."""
    rng = np.random.default_rng(seed)
    plan: dict[str, list[tuple[str, float, list[Played]]]] = {}
    change = how.pop("change", None)
    for i in range(count):
        font, guitar, tempo = (
            fonts[i % len(fonts)],
            guitars[i % len(guitars)],
            float(how.get("tempo") or rng.choice(TEMPI)),
        )
        kind = how.get("kind") or ("plain", "mixed", "dense", "triplet")[i % 4]
        if kind == "dense" and not how.get("tempo"):
            tempo = min(tempo, 126.0)
        keep = {k: v for k, v in how.items() if k not in ("kind", "tempo")}
        notes, _ = line(rng, tempo, int(22 / 60 * tempo), kind, **keep)
        plan.setdefault(font, []).append((guitar, tempo, change(notes, rng) if change else notes))
    out = []
    for font, items in plan.items():
        played = fluid([(GUITARS[g], notes) for g, _, notes in items], font)
        out += [Take(f"{font} {g}", x, notes, tempo) for (g, tempo, notes), x in zip(items, played, strict=True)]
    return out


def sampled(seed: int, count: int, bank: Path) -> list[Take]:
    """Takes of held-out recorded notes, strung together."""
    rng = np.random.default_rng(seed)
    guitar = sounds.load(bank)
    out = []
    for i in range(count):
        tempo = float(rng.choice(TEMPI[:5]))
        notes, _ = line(
            rng, tempo, int(22 / 60 * tempo), ("plain", "mixed", "dense", "triplet")[i % 4], low=43, high=72
        )
        strokes = [Stroke(n.time, n.length, n.pitch, n.strength) for n in notes]
        x, _ = render(strokes, guitar, rng, notes[-1].time + notes[-1].length + 1, None, 0.0)
        out.append(Take("samples", x / np.abs(x).max() * np.float32(0.7), notes, tempo))
    return out


def changed(takes: list[Take], change: Callable[[Take], np.ndarray]) -> list[Take]:
    """The same takes, their sound changed."""
    return [Take(t.name, change(t).astype(np.float32), t.notes, t.tempo) for t in takes]


def mixed_band(take: Take, rng: np.random.Generator, decibels: float) -> np.ndarray:
    """A take with a band, this loud against the guitar."""
    b = band(rng, len(take.sound) / RATE, take.tempo)
    return take.sound + b / level(b) * level(take.sound) * 10 ** (decibels / 20)


def shifted(take: Take, cents: float) -> Take:
    """A take tuned away from 440 Hz."""
    k = 2 ** (-cents / 1200)
    notes = [Played(n.time * k, n.length * k, n.pitch, n.strength, n.bend, n.vibrato, n.lower) for n in take.notes]
    return Take(take.name, detuned(take.sound, cents), notes, take.tempo / k)


def conditions(seed: int, n: int, bank: Path) -> Iterator[tuple[str, list[Take]]]:
    """Every condition and its takes."""
    r = np.random.default_rng(seed)
    for font in FONTS:
        yield f"fonts: {font}", by_fonts(seed + 1, 14, tuple(GUITARS), (font,))
    yield "fonts: repeats", by_fonts(seed + 2, n, repeats=0.4)
    yield (
        "fonts: fast (sixteenths at 150-170)",
        [t for tempo in (150, 170) for t in by_fonts(seed + 3 + tempo, n // 2, kind="dense", tempo=tempo)],
    )
    yield (
        "fonts: low and high (B1 to E6)",
        by_fonts(seed + 4, n // 2, low=35, high=55) + by_fonts(seed + 5, n // 2, low=68, high=88),
    )
    real = sampled(seed + 6, n, bank)
    yield "samples: dry", real
    yield "samples: amp", changed(real, lambda t: amped(t.sound, float(r.choice([4, 20]))))
    base = by_fonts(seed + 7, n)
    yield "noise: 20 dB", changed(base, lambda t: with_noise(t.sound, r, 20))
    yield "noise: 10 dB", changed(base, lambda t: with_noise(t.sound, r, 10))
    yield "noise: hum -15 dB", changed(base, lambda t: hummed(t.sound, r, 15))
    yield "noise: clipped", changed(base, lambda t: np.clip(t.sound * 3, -0.7, 0.7))
    yield "noise: MP3", changed(base, lambda t: coded(t.sound, "MP3"))
    yield "noise: OGG", changed(base, lambda t: coded(t.sound, "OGG"))
    base = by_fonts(seed + 8, n)
    yield (
        "beside: clicks -12 to 0 dB",
        changed(base, lambda t: clicked(t.sound, t.tempo, float(r.uniform(-12, 0)), pitch=float(r.uniform(900, 2500)))),
    )
    yield "beside: band -20 to -10 dB", changed(base, lambda t: mixed_band(t, r, float(r.uniform(-20, -10))))
    yield "beside: band 0 dB", changed(base[: n // 2], lambda t: mixed_band(t, r, 0))
    base = by_fonts(seed + 9, n)
    small = lambda: shoebox(r, (4.2, 3.4, 2.6), 0.35, float(r.uniform(0.6, 1.8)))  # noqa: E731
    yield "rooms: small", changed(base, lambda t: in_room(t.sound, small()))
    yield (
        "rooms: hall 1.2 s",
        changed(base, lambda t: in_room(t.sound, shoebox(r, (12.0, 9.0, 5.0), 1.2, float(r.uniform(1.0, 2.5))))),
    )
    yield "rooms: phone", changed(base, lambda t: phoned(in_room(t.sound, small()), r))
    yield "rooms: phone, driven", changed(base[: n // 2], lambda t: phoned(in_room(amped(t.sound, 8), small()), r))
    yield (
        "rooms: echo pedal",
        changed(base, lambda t: echoed(t.sound, float(r.uniform(0.12, 0.5)), float(r.uniform(0.2, 0.5)))),
    )
    yield "voices: double stops", by_fonts(seed + 10, n, change=stopped)
    yield "voices: chords", by_fonts(seed + 11, n, kind="plain", change=lambda a, g: stopped(a, g, 0.3, chords=True))
    yield "played: bends", by_fonts(seed + 12, n, kind="plain", change=lambda a, g: expressive(a, g, bends=0.6))
    yield "played: vibrato", by_fonts(seed + 13, n, kind="plain", change=lambda a, g: expressive(a, g, vibrato=0.8))
    base = by_fonts(seed + 14, n)
    yield "tuning: 20 cents", [shifted(t, c) for t, c in zip(base, [20, -20] * n, strict=False)]
    yield "tuning: 45 cents", [shifted(t, c) for t, c in zip(base, [45, -45] * n, strict=False)]
    quiet = np.zeros(RATE * 20, np.float32)
    yield (
        "none: silence, noise, metronome, speech-like",
        [
            Take("silence", quiet, [], 100),
            Take("noise", (r.standard_normal(len(quiet)) * 0.05).astype(np.float32), [], 100),
            Take("metronome", clicked(quiet + 1e-9, 100, 180), [], 100),
        ],
    )


def measure(
    seed: int, n: int, bank: Path, transcribe: Callable[[np.ndarray], list[Note]], only: str = ""
) -> dict[str, Score]:
    """Score every condition, printing rows as they come."""
    out = {}
    for name, takes in conditions(seed, n, bank):
        if only and not any(word in name for word in only.split(",")):
            continue
        total = Score()
        worst = ("", 1.0)
        for take in takes:
            found, _ = score(take.notes, transcribe(take.sound), len(take.sound) / RATE)
            total += found
            if found.f1 < worst[1]:
                worst = (take.name, found.f1)
        out[name] = total
        print(f"| {name} | {total.row()} | {worst[0]} |", flush=True)
    return out


def main() -> None:
    """Print the table."""
    from stylemeter.reading.audio.listen import listen

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--sounds", type=Path, required=True)
    parser.add_argument("--takes", type=int, default=12)
    parser.add_argument("--only", default="")
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    print(
        "| condition | F1 (50 ms) | F1 (30 ms) | extra a minute | worst take | octave errors % | repeats found | ends | worst |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    found = measure(args.seed, args.takes, args.sounds / "acoustic.npz", lambda x: listen(x).notes, args.only)
    if args.json:
        args.json.write_text(json.dumps({k: vars(v) for k, v in found.items()}, indent=1) + "\n")


if __name__ == "__main__":
    main()

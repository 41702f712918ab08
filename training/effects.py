"""What lies between the string and the file: pickup, amp, echo pedal, room, band, noise, phone. In torch, by the batch.

Shapes: sounds are (batch, samples). All ranges of the simulator that are about sound stand here.
"""

from __future__ import annotations

import math

import torch
import torch.nn.functional as F

from stylemeter.reading.audio.spectra import BINS, HOP, LEVEL_SPAN, LOUD, RATE, WINDOWS, bank, hann

Tensor = torch.Tensor

#: Decibels of a band against the guitar from which a take counts as accompanied, and up to which it does not.
ACCOMPANIED, ALONE = -10.0, -16.0
#: Samples of a room's answer, and the padded length of a segment with it (a product of small primes).
ROOM, PADDED = 28_000, 124_416


def between(count: int, low: float, high: float, device: torch.device) -> Tensor:
    """Uniform numbers, one a sound."""
    return torch.rand(count, 1, device=device) * (high - low) + low


def chance(count: int, share: float, device: torch.device) -> Tensor:
    """1 for this share of the sounds, else 0."""
    return (torch.rand(count, 1, device=device) < share).float()


def rms(x: Tensor) -> Tensor:
    """Root mean square of each sound."""
    return x.pow(2).mean(1, keepdim=True).sqrt() + 1e-6


def equaliser(count: int, n: int, device: torch.device, strength: float) -> Tensor:
    """Random gains over frequency, with a low and a high cut."""
    f = torch.fft.rfftfreq(n, 1 / RATE).to(device)[None] + 1.0
    octave = torch.log2(f / 100)
    gain = torch.zeros(count, f.shape[1], device=device)
    for _ in range(4):
        centre, width = between(count, -1, 6.3, device), between(count, 0.3, 1.5, device)
        gain += between(count, -strength, strength, device) * torch.exp(-(((octave - centre) / width) ** 2))
    low = torch.sqrt(1 + (between(count, 10, 110, device) / f) ** 4)
    high = torch.sqrt(1 + (f / 10 ** between(count, 3.35, 4.0, device)) ** 6)
    return 10 ** (gain / 20) / low / high


def filtered(x: Tensor, response: Tensor) -> Tensor:
    """A sound through a response."""
    return torch.fft.irfft(torch.fft.rfft(x) * response, x.shape[1])


def smooth(x: Tensor, samples: int) -> Tensor:
    """Level over a number of samples."""
    return F.avg_pool1d(x.abs()[:, None], 2 * samples + 1, 1, samples)[:, 0]


def amp(x: Tensor) -> Tensor:
    """Compressor, drive at four times the rate, cabinet; on half of the sounds."""
    b, n, device = x.shape[0], x.shape[1], x.device
    x = x * (smooth(x, 200) + 0.02) ** (-between(b, 0, 0.7, device) * chance(b, 0.4, device))
    x = x / rms(x)
    spectrum = torch.fft.rfft(x)
    up = torch.fft.irfft(F.pad(spectrum, (0, n * 2 + 1 - spectrum.shape[1])), n * 4) * 4
    z = up * 10 ** between(b, -0.6, 2.2, device) + between(b, -0.3, 0.3, device)
    hard = chance(b, 0.3, device)
    z = hard * z.clamp(-1, 1) + (1 - hard) * torch.tanh(z)
    z = torch.fft.irfft(torch.fft.rfft(z - z.mean(1, keepdim=True))[:, : n // 2 + 1], n) / 4
    z = filtered(z / rms(z), equaliser(b, n, device, 7.0))
    mix, on = between(b, 0.6, 1, device), chance(b, 0.5, device)
    x = on * (mix * z / rms(z) + (1 - mix) * x) + (1 - on) * x
    return x / rms(x)


def room(b: int, device: torch.device) -> Tensor:
    """Answers of rooms: early reflections, and a tail whose bands decay each in its own time; of unit energy."""
    t = torch.arange(ROOM, device=device)[None] / RATE
    decay = 10 ** between(b, -0.95, 0.25, device)
    noise = torch.fft.rfft(torch.randn(b, ROOM, device=device))
    f = torch.fft.rfftfreq(ROOM, 1 / RATE).to(device)[None]
    split1, split2 = between(b, 250, 900, device), between(b, 1500, 4500, device)
    low, high = 1 / (1 + (f / split1) ** 4), 1 / (1 + (split2 / (f + 1)) ** 4)
    tail = torch.zeros(b, ROOM, device=device)
    for part, factor in (
        (low, between(b, 0.8, 1.6, device)),
        (1 - low - high, 1.0),
        (high, between(b, 0.3, 0.9, device)),
    ):
        tail += torch.fft.irfft(noise * part, ROOM) * torch.exp(-6.9 * t / (decay * factor))
    tail = tail * (t > between(b, 0, 0.025, device))
    early = torch.zeros(b, ROOM, device=device)
    count = 16
    when = (torch.rand(b, count, device=device) ** 1.5 * between(b, 0.01, 0.07, device) * RATE).long() + 8
    gain = torch.randn(b, count, device=device) * torch.exp(-when / RATE / (decay * 0.4))
    early.scatter_add_(1, when, gain)
    unit = lambda a: a / (a.pow(2).sum(1, keepdim=True).sqrt() + 1e-6)  # noqa: E731
    answer = unit(tail) + unit(early) * 10 ** between(b, -1, 0.4, device)
    return unit(answer)


def places(x: Tensor) -> Tensor:
    """Echo pedal, then room."""
    b, n, device = x.shape[0], x.shape[1], x.device
    f = torch.fft.rfftfreq(PADDED, 1 / RATE).to(device)[None]
    wet = chance(b, 0.6, device) * 10 ** between(b, -1.2, 0.4, device)
    echo = chance(b, 0.12, device) * 10 ** between(b, -1.3, -0.3, device)
    delay, feedback = 10 ** between(b, -1.2, -0.15, device), between(b, 0.0, 0.65, device)
    dull = 1 / torch.sqrt(1 + (f / 10 ** between(b, 3.0, 4.0, device)) ** 2)
    turn = torch.exp(-2j * math.pi * f * delay) * dull
    repeats = torch.zeros_like(turn)
    loop = echo * turn
    for _ in range(4):
        repeats = repeats + loop
        loop = loop * turn * feedback
    answer = torch.fft.rfft(room(b, device), PADDED) * equaliser(b, PADDED, device, 4.0)
    answer = answer / (answer.abs().pow(2).mean(1, keepdim=True).sqrt() + 1e-6)
    spectrum = torch.fft.rfft(x, PADDED) * (1 + repeats)
    return torch.fft.irfft(spectrum * (1 + wet * answer), PADDED)[:, :n]


def phone(x: Tensor) -> Tensor:
    """A small microphone with automatic gain."""
    b, n, device = x.shape[0], x.shape[1], x.device
    f = torch.fft.rfftfreq(n, 1 / RATE).to(device)[None] + 1.0
    low = torch.sqrt(1 + (between(b, 80, 350, device) / f) ** 6)
    high = torch.sqrt(1 + (f / between(b, 3000, 7500, device)) ** 8)
    z = filtered(x, 1 / low / high)
    z = z * (smooth(z, 800) / rms(z) + 0.05) ** -between(b, 0.2, 0.7, device)
    on = chance(b, 0.2, device)
    return on * z / rms(z) + (1 - on) * x / rms(x)


def added(x: Tensor, beside: Tensor, band: Tensor) -> tuple[Tensor, Tensor]:
    """Metronome or band beside the guitar; and whether the band counts (1), does not (0) or neither (-1)."""
    b, device = x.shape[0], x.device
    is_band = (band > 0).float()[:, None]
    level = 10 ** between(b, -1.75, -0.1, device) * is_band
    clicks = beside / (beside.abs().amax(1, keepdim=True) + 1e-6) * 10 ** between(b, -1.5, 0.95, device)
    silent = (beside.abs().amax(1, keepdim=True) < 1e-4).float()
    x = x + (1 - silent) * (is_band * beside / rms(beside) * level + (1 - is_band) * chance(b, 0.8, device) * clicks)
    decibels = 20 * torch.log10(level + 1e-6)[:, 0]
    told = torch.where(decibels > ACCOMPANIED, 1.0, torch.where(decibels < ALONE, 0.0, -1.0))
    return x, told


def noisy(x: Tensor) -> Tensor:
    """Noise of any colour, hum, clipping."""
    b, n, device = x.shape[0], x.shape[1], x.device
    f = torch.fft.rfftfreq(n, 1 / RATE).to(device)[None] + 20
    w = filtered(torch.randn(b, n, device=device), (f / 1000) ** (-between(b, 0, 1, device)))
    x = x + w / rms(w) * 10 ** (-between(b, 0.7, 3.5, device))
    t = torch.arange(n, device=device)[None] / RATE
    mains = torch.where(torch.rand(b, 1, device=device) < 0.5, 50.0, 60.0)
    hum = sum(
        torch.sin(2 * math.pi * mains * k * t + between(b, 0, 6.3, device)) * between(b, 0, 1, device) / k
        for k in range(1, 8)
    )
    x = x + chance(b, 0.3, device) * hum / rms(hum) * 10 ** between(b, -2.5, -0.5, device)
    clip, top = chance(b, 0.12, device), x.abs().amax(1, keepdim=True) * between(b, 0.25, 0.9, device)
    return clip * torch.maximum(torch.minimum(x, top), -top) + (1 - clip) * x


def recorded(sound: Tensor, beside: Tensor, band: Tensor) -> tuple[Tensor, Tensor]:
    """A take as it is recorded, and whether a band is heard in it."""
    b, n, device = sound.shape[0], sound.shape[1], sound.device
    empty = (sound.abs().amax(1, keepdim=True) < 1e-3).float()
    x = sound / rms(sound)
    x = filtered(x, equaliser(b, n, device, 8.0))
    x = amp(x)
    x = places(x)
    x = x / rms(x) * (1 - empty)
    x, told = added(x, beside, band)
    x = noisy(x)
    x = phone(x)
    x = x * (smooth(x, 800) + 0.05) ** (-between(b, 0.3, 0.7, device) * chance(b, 0.12, device))
    last = chance(b, 0.2, device)
    return last * filtered(x, equaliser(b, n, device, 3.0)) + (1 - last) * x, told


class Spectra(torch.nn.Module):
    """The spectra of `stylemeter.reading.audio.spectra`, by the batch."""

    def __init__(self) -> None:
        super().__init__()
        for i, (length, size) in enumerate(WINDOWS):
            self.register_buffer(f"bank{i}", torch.tensor(bank(size)))
            self.register_buffer(f"hann{i}", torch.tensor(hann(length)))

    @torch.no_grad()
    def forward(self, x: Tensor) -> Tensor:
        """Sounds to spectra (batch, 3, frames, BINS)."""
        spans = x[:, : x.shape[1] // LEVEL_SPAN * LEVEL_SPAN].reshape(x.shape[0], -1, LEVEL_SPAN)
        loud = torch.quantile(spans.pow(2).mean(2).add(1e-12).sqrt(), 0.95, dim=1, keepdim=True)
        x = x * (LOUD / loud.clamp_min(1e-5))
        out = []
        for i, (length, size) in enumerate(WINDOWS):
            window, weights = getattr(self, f"hann{i}"), getattr(self, f"bank{i}")
            frames = F.pad(x, (length // 2, length)).unfold(1, length, HOP)[:, : x.shape[1] // HOP]
            amplitude = torch.fft.rfft(frames * window, size).abs() @ weights * (2 / window.sum())
            out.append((torch.log10(amplitude + 1e-5) + 5) / 3)
        assert out[0].shape[2] == BINS
        return torch.stack(out, 1)

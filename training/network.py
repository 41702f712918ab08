"""The network, for training: stacked harmonics, residual blocks over time and pitch, one head.

In: spectra of shape (batch, 3, frames, BINS). Out: maps of shape (batch, 4, frames, PITCHES), in order the logits of
onset, sounding and top voice, and cents / 50; and tracks of shape (batch, 3, frames), the logits of any onset, any
voice, and of a band beside the guitar.
"""

from __future__ import annotations

import torch
import torch.nn.functional as F
from torch import nn

from stylemeter.reading.audio.spectra import LOWEST, PITCH_LOW, PITCHES

#: Bins of a pitch's own first partial, and from there to the partials 1/2, 1, 2, 3, 4, 5, 6, 7, 8.
FIRST = round(3 * (PITCH_LOW - 1 / 3 - LOWEST))
PARTIALS = (-36, 0, 36, 57, 72, 84, 93, 101, 108)
#: Dilations of the blocks in time and in pitch.
BLOCKS = ((1, 1), (1, 12), (2, 1), (4, 12), (8, 1), (16, 1), (1, 1))
#: Block after which what all pitches say together is added.
SHARED = 2


class Block(nn.Module):
    """Two convolutions and a way past them."""

    def __init__(self, width: int, in_time: int, in_pitch: int, norm: bool) -> None:
        super().__init__()
        around = (in_time * 2, in_pitch)
        self.a = nn.Conv2d(width, width, (5, 3), padding=around, dilation=(in_time, in_pitch), bias=not norm)
        self.b = nn.Conv2d(width, width, (3, 3), padding=(1, 1), bias=not norm)
        self.na = nn.BatchNorm2d(width) if norm else nn.Identity()
        self.nb = nn.BatchNorm2d(width) if norm else nn.Identity()

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """Shape is kept."""
        return F.relu(x + self.nb(self.b(F.relu(self.na(self.a(x))))))


class Net(nn.Module):
    """`norm=False` is the network as it ships, batch normalisation folded into the convolutions (`folded`)."""

    def __init__(self, width: int = 32, norm: bool = True) -> None:
        super().__init__()
        self.stem = nn.Conv2d(3 * len(PARTIALS), width, (3, 7), stride=(1, 3), padding=(1, 2), bias=not norm)
        self.nstem = nn.BatchNorm2d(width) if norm else nn.Identity()
        self.blocks = nn.ModuleList([Block(width, *dilations, norm) for dilations in BLOCKS])
        self.shared1 = nn.Conv1d(2 * width, width, 5, padding=2)
        self.shared2 = nn.Conv1d(width, width, 5, padding=2)
        self.last = nn.Conv1d(2 * width, width, 5, padding=2)
        self.mix = nn.Conv2d(width, width, 3, padding=1)
        self.maps = nn.Conv2d(width, 4, 1)
        self.tracks = nn.Conv1d(width, 3, 1)

    def forward(self, x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Spectra to maps and tracks."""
        x = F.pad(x, (0, 40))
        x = torch.cat([x[..., FIRST + h : FIRST + h + 3 * PITCHES] for h in PARTIALS], 1)
        x = F.relu(self.nstem(self.stem(x)))
        for i, block in enumerate(self.blocks):
            x = block(x)
            if i == SHARED:
                x = x + F.relu(self.shared2(F.relu(self.shared1(torch.cat([x.mean(3), x.amax(3)], 1)))))[..., None]
        g = F.relu(self.last(torch.cat([x.mean(3), x.amax(3)], 1)))
        return self.maps(F.relu(self.mix(x) + g[..., None])), self.tracks(g)


def folded(net: Net) -> Net:
    """The same network with its batch normalisation folded into the convolutions."""
    net = net.eval()
    plain = Net(net.maps.in_channels, norm=False).eval()
    pairs = [(net.stem, net.nstem, plain.stem)]
    for a, b in zip(net.blocks, plain.blocks, strict=True):
        pairs += [(a.a, a.na, b.a), (a.b, a.nb, b.b)]
    with torch.no_grad():
        for conv, norm, out in pairs:
            scale = norm.weight / torch.sqrt(norm.running_var + norm.eps)
            out.weight.copy_(conv.weight * scale[:, None, None, None])
            out.bias.copy_(norm.bias - norm.running_mean * scale)
        for name in ("shared1", "shared2", "last", "mix", "maps", "tracks"):
            getattr(plain, name).load_state_dict(getattr(net, name).state_dict())
    return plain

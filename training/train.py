"""Train the network on lines that are played anew all the time.

    python -m training.train --sounds FOLDER --out FOLDER --minutes 9

FOLDER of sounds is what `training.sounds` makes. Processes play lines into a ring of segments in shared memory, the
device adds amps, rooms and noise to them and trains. Writes `network.pt`, the averaged and folded weights, and `run.json`,
what was run.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import tempfile
import time
from pathlib import Path

import numpy as np
import torch
import torch.multiprocessing as mp
import torch.nn.functional as F

from stylemeter.reading.audio.spectra import HOP, PITCHES, RATE
from training import effects, render, sounds
from training.network import Net, folded

SECONDS = 6.0
SAMPLES, FRAMES = int(SECONDS * RATE), int(SECONDS * RATE / HOP)
#: Share of the segments played on strings made here; the sample sets share the rest.
MADE = 0.5
#: Made guitars a process has at hand, and segments after which one is made anew.
GUITARS, RENEW = 24, 24


def _fields(capacity: int) -> dict[str, tuple[tuple[int, ...], type]]:
    """What a ring of segments holds."""
    maps = (capacity, FRAMES, PITCHES)
    return {
        "sound": ((capacity, SAMPLES), np.int16), "beside": ((capacity, SAMPLES), np.int16),
        "band": ((capacity,), np.float32), "onset": (maps, np.uint8), "sounding": (maps, np.uint8),
        "line": (maps, np.uint8), "cents": (maps, np.int8),
    }  # fmt: skip


def _ring(folder: str, capacity: int, mode: str) -> dict[str, np.memmap]:
    return {
        name: np.memmap(Path(folder, name), kind, mode, shape=shape)
        for name, (shape, kind) in _fields(capacity).items()
    }


def _play(number: int, seed: int, folder: str, capacity: int, workers: int, made: mp.Array, banks: str) -> None:
    """Fill one part of the ring for ever."""
    torch.set_num_threads(1)
    rng = np.random.default_rng([seed, number])
    ring, part = _ring(folder, capacity, "r+"), capacity // workers
    sets = {name: [sounds.load(Path(banks, f"{name}.npz"))] for name in sounds.SETS}
    own = [sounds.strings(rng) for _ in range(4)]
    count = 0
    while True:
        guitars = own if rng.random() < MADE else sets[str(rng.choice(sorted(sets)))]
        sound, beside, band, labels = render.segment(rng, guitars, SECONDS)
        at = number * part + count % part
        for name, value in (("sound", sound), ("beside", beside), ("band", band), ("onset", labels.onset),
                            ("sounding", labels.sounding), ("line", labels.line), ("cents", labels.cents)):  # fmt: skip
            ring[name][at] = value
        count += 1
        made[number] = count
        if count % RENEW == 0:
            own = [*own[-(GUITARS - 1) :], sounds.strings(rng)]


class Store:
    """Segments on the device, the oldest replaced by what the processes have played since."""

    def __init__(self, args: argparse.Namespace, device: torch.device) -> None:
        self.folder = tempfile.mkdtemp(dir="/dev/shm" if args.workers > 4 and Path("/dev/shm").is_dir() else None)
        self.capacity, self.workers = args.capacity, args.workers
        _ring(self.folder, self.capacity, "w+")
        self.made = mp.Array("i", args.workers, lock=False)
        self.players = [
            mp.Process(
                target=_play, daemon=True,
                args=(i, args.seed, self.folder, self.capacity, self.workers, self.made, str(args.sounds)),
            )
            for i in range(args.workers)
        ]  # fmt: skip
        for player in self.players:
            player.start()
        self.ring = _ring(self.folder, self.capacity, "r")
        kinds = {np.int16: torch.int16, np.float32: torch.float32, np.uint8: torch.uint8, np.int8: torch.int8}
        self.held = {
            name: torch.zeros(shape, dtype=kinds[kind], device=device)
            for name, (shape, kind) in _fields(self.capacity).items()
        }
        self.taken = [0] * self.workers
        self.filled, self.at, self.total, self.device = 0, 0, 0, device

    def refill(self, most: int) -> None:
        """Take what has been played."""
        part = self.capacity // self.workers
        for i in np.random.permutation(self.workers):  # noqa: NPY002
            begin = max(self.taken[i], self.made[i] - part + 2)
            a = i * part + begin % part
            k = min(self.made[i] - begin, max(1, most // self.workers), i * part + part - a, self.capacity - self.at)
            if k <= 0:
                continue
            for name, tensor in self.held.items():
                tensor[self.at : self.at + k] = torch.from_numpy(np.array(self.ring[name][a : a + k])).to(self.device)
            self.taken[i] = begin + k
            self.at += k
            self.total += k
            self.filled = max(self.filled, self.at)
            self.at %= self.capacity

    def batch(self, size: int) -> dict[str, torch.Tensor]:
        """Segments at random, numbers scaled."""
        index = torch.randint(0, self.filled, (size,), device=self.device)
        scale = {"sound": 32768, "beside": 32768, "band": 1, "onset": 255, "sounding": 255, "line": 255, "cents": 50}
        return {name: tensor[index].float() / scale[name] for name, tensor in self.held.items()}

    def close(self) -> None:
        """End the processes and their ring."""
        for player in self.players:
            player.terminate()
        for name in self.held:
            Path(self.folder, name).unlink()
        Path(self.folder).rmdir()


def loss_of(
    maps: torch.Tensor, tracks: torch.Tensor, want: dict[str, torch.Tensor], told: torch.Tensor
) -> torch.Tensor:
    """Losses of a batch: all together, onset, sounding, line, cents, band."""
    bce = F.binary_cross_entropy_with_logits
    onset = (
        bce(maps[:, 0], want["onset"], reduction="none", pos_weight=torch.tensor(2.5, device=maps.device)).sum(2).mean()
    )
    sounding = bce(maps[:, 1], want["sounding"], reduction="none").sum(2).mean()
    top = bce(maps[:, 2], want["line"], reduction="none").sum(2).mean()
    there = want["sounding"]
    cents = (
        F.smooth_l1_loss(maps[:, 3], want["cents"], reduction="none", beta=0.2) * there
    ).sum() / there.sum().clamp_min(1)
    any_onset = bce(tracks[:, 0], want["onset"].amax(2))
    any_voice = bce(tracks[:, 1], want["sounding"].amax(2))
    known = (told >= 0).float()[:, None].expand_as(tracks[:, 2])
    band = (
        bce(tracks[:, 2], told.clamp_min(0)[:, None].expand_as(tracks[:, 2]), reduction="none") * known
    ).sum() / known.sum().clamp_min(1)
    whole = onset + 0.4 * sounding + 0.4 * top + 0.5 * cents + 0.3 * any_onset + 0.2 * any_voice + 0.1 * band
    return torch.stack([whole, onset, sounding, top, cents, band])


def main() -> None:
    """Train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sounds", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=9.0)
    parser.add_argument("--steps", type=int, default=10**9)
    parser.add_argument("--batch", type=int, default=48)
    parser.add_argument("--width", type=int, default=32)
    parser.add_argument("--capacity", type=int, default=9000)
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--seed", type=int, default=15)
    parser.add_argument("--start", type=Path, help="weights to go on from: training.pt of an earlier run")
    args = parser.parse_args()
    began = time.time()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(args.seed)
    np.random.seed(args.seed)  # noqa: NPY002 - only the order in which segments are taken
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    store = Store(args, device)
    hear = effects.Spectra().to(device)
    net = Net(args.width).to(device).to(memory_format=torch.channels_last)
    if args.start:
        net.load_state_dict(torch.load(args.start, map_location=device, weights_only=True))
    optimiser = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=1e-3, fused=device.type == "cuda")
    mean = [p.detach().clone() for p in net.parameters()]
    print("weights", sum(p.numel() for p in net.parameters()), flush=True)
    while store.filled < 8 * args.batch:
        time.sleep(0.3)
        store.refill(2000)
    ready = time.time()
    print(f"first segments after {ready - began:.1f} s", flush=True)
    step, seen = 0, torch.zeros(6, device=device)
    while time.time() - began < 60 * args.minutes and step < args.steps:
        store.refill(args.workers * 4)
        done = max((time.time() - ready) / max(1.0, 60 * args.minutes - (ready - began)), step / args.steps)
        rate = args.rate * min(1, (step + 1) / 300) * 0.5 * (1 + math.cos(math.pi * min(1, done))) + 1e-6
        want = store.batch(args.batch)
        with torch.no_grad():
            take, told = effects.recorded(want["sound"], want["beside"], want["band"])
            spectra = hear(take).contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            maps, tracks = net(spectra)
        losses = loss_of(maps.float(), tracks.float(), want, told)
        for group in optimiser.param_groups:
            group["lr"] = rate
        optimiser.zero_grad()
        losses[0].backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        seen += losses.detach()
        with torch.no_grad():
            keep = min(0.9985, step / (step + 30))
            torch._foreach_mul_(mean, keep)
            torch._foreach_add_(mean, [p.detach() for p in net.parameters()], alpha=1 - keep)
        step += 1
        if step % 250 == 0 or step in (5, 20, 60):
            since = 250 if step % 250 == 0 else step
            told_losses = [round(float(v), 4) for v in seen / since]
            print(step, f"{time.time() - ready:.0f} s", told_losses, "segments", store.total, flush=True)
            if step % 250 == 0:
                seen.zero_()
    print("losses: all, onset, sounding, line, cents, band", flush=True)
    _finish(
        net,
        mean,
        store,
        hear,
        args,
        {"steps": step, "seconds": round(time.time() - began), "segments": int(store.total)},
    )


def _finish(
    net: Net, mean: list[torch.Tensor], store: Store, hear: effects.Spectra, args: argparse.Namespace, told: dict
) -> None:
    """Average the weights, measure the batch normalisation anew, fold it, write."""
    with torch.no_grad():
        for parameter, value in zip(net.parameters(), mean, strict=True):
            parameter.copy_(value)
        for module in net.modules():
            if isinstance(module, torch.nn.BatchNorm2d):
                module.reset_running_stats()
                module.momentum = None
        net.train()
        for _ in range(60 if store.device.type == "cuda" else 2):
            want = store.batch(args.batch)
            spectra = hear(effects.recorded(want["sound"], want["beside"], want["band"])[0])
            with torch.autocast(store.device.type, torch.bfloat16, enabled=store.device.type == "cuda"):
                net(spectra.contiguous(memory_format=torch.channels_last))
    store.close()
    net = net.eval().float().cpu().to(memory_format=torch.contiguous_format)
    args.out.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), args.out / "training.pt")
    torch.save(folded(net).state_dict(), args.out / "network.pt")
    told |= {"seed": args.seed, "batch": args.batch, "width": args.width, "workers": args.workers, "rate": args.rate,
             "torch": torch.__version__, "device": torch.cuda.get_device_name() if torch.cuda.is_available() else "cpu"}  # fmt: skip
    (args.out / "run.json").write_text(json.dumps(told, indent=1) + "\n")
    print("done", told, flush=True)


if __name__ == "__main__":
    mp.set_start_method("spawn", force=True)
    main()

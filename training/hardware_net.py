"""Teach the hardware net on drawn panels, and export it to ONNX.

    python -m training.hardware_net --grounds FOLDER --out FOLDER [--labelled FOLDER ...] [--pictures 9000] [--seconds 80]

Needs PyTorch and ONNX, and a GPU to be quick. `--grounds`: folder of JPEG faces without hardware to draw on, beside which our
own drawn surfaces serve. `--labelled`: folders as training.hardware.rendered writes them, shown again in other light. Pictures
are drawn by other processes while the net already learns from those that are there. The net answers at half size: for each
place, nothing or one of vision.hardware.kinds.SEEN.
"""

from __future__ import annotations

import argparse
import multiprocessing
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.hardware.again import seen_again, stored
from training.hardware.grounds import drawn_ground
from training.hardware.make import FIRST, LONG_PX, UNKNOWN, make
from vision.hardware.kinds import SEEN

#: Own surfaces drawn, pictures a batch, weights of the classes (nothing first): small things count for more.
SURFACES, BATCH = 90, 24
WEIGHTS = (0.5, 2.5, 2.5, 5.0, 3.0, 6.0, 8.0, 1.5)
#: First seed of labelled pictures shown again; how many of those for each drawn picture.
AGAIN, AGAIN_SHARE = 500_000, 0.25
_grounds: list[NDArray[np.uint8]] = []
_labelled: list[tuple[NDArray[np.uint8], NDArray[np.uint8]]] = []


def _begin(folder: str, surfaces: list[NDArray[np.uint8]], labelled: Sequence[str]) -> None:
    cv2.setNumThreads(1)
    _grounds[:] = surfaces
    _labelled[:] = [pair for f in labelled for pair in stored(Path(f))]
    for path in sorted(Path(folder).glob("*.jpg")):
        bgr = cv2.imread(str(path))
        if bgr is not None:
            _grounds.append(np.ascontiguousarray(bgr[..., ::-1]))


def padded(pixels: NDArray[np.uint8], labels: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """((3, LONG_PX, LONG_PX), labels at half size) with what lies outside the picture unknown."""
    h, w = labels.shape
    image = np.zeros((LONG_PX, LONG_PX, 3), np.uint8)
    image[:h, :w] = pixels
    full = np.full((LONG_PX, LONG_PX), UNKNOWN, np.uint8)
    full[:h, :w] = labels
    return np.ascontiguousarray(image.transpose(2, 0, 1)), np.ascontiguousarray(full[::2, ::2])


def _picture(seed: int) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    if seed >= AGAIN:
        rng = np.random.default_rng([seed, 43])
        return padded(*seen_again(*_labelled[int(rng.integers(len(_labelled)))], rng))
    p = make(seed, _grounds)
    return padded(p.pixels, p.labels)


def seeds(pictures: int, again: bool) -> list[int]:
    """Seeds of so many drawn pictures, mixed with those of labelled ones shown again."""
    out = list(range(FIRST["fit"], FIRST["fit"] + pictures))
    if again:
        out += range(AGAIN, AGAIN + round(AGAIN_SHARE * pictures))
    return [out[k] for k in np.random.default_rng(44).permutation(len(out))]


def make_net() -> Any:
    """(n, 3, h, w) in 0..1, sides multiples of 32 -> (n, 1 + kinds, h / 2, w / 2) logits."""
    import torch  # type: ignore[import-not-found, unused-ignore]
    import torch.nn.functional as F  # type: ignore[import-not-found, unused-ignore]
    from torch import nn

    def thin(a: int, b: int, stride: int = 1, size: int = 3) -> Any:
        """A filter a channel, then a mix of channels."""
        return nn.Sequential(nn.Conv2d(a, a, size, stride, size // 2, groups=a, bias=False), nn.BatchNorm2d(a),
                             nn.Conv2d(a, b, 1, bias=False), nn.BatchNorm2d(b), nn.ReLU())

    class Block(nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self, c: int) -> None:
            super().__init__()
            self.one, self.two = thin(c, c, 1, 5), thin(c, c)

        def forward(self, x: Any) -> Any:
            return x + self.two(self.one(x))

    class Net(nn.Module):  # type: ignore[misc, unused-ignore]
        widths = (24, 48, 96, 144, 192)

        def __init__(self) -> None:
            super().__init__()
            w = self.widths
            self.stem = nn.Sequential(nn.Conv2d(3, w[0], 3, 2, 1, bias=False), nn.BatchNorm2d(w[0]), nn.ReLU(), thin(w[0], w[0]))
            self.down = nn.ModuleList(nn.Sequential(thin(w[k], w[k + 1], 2), *[Block(w[k + 1]) for _ in range(n)])
                                      for k, n in enumerate((1, 2, 2, 2)))
            self.whole = nn.Sequential(nn.Linear(w[4], w[4]), nn.ReLU())
            self.side = nn.ModuleList(nn.Conv2d(w[k + 1], w[k], 1) for k in range(4))
            self.up = nn.ModuleList(thin(w[k], w[k], 1, 5 if k else 3) for k in range(4))
            self.last = nn.Conv2d(w[0], 1 + len(SEEN), 1)

        def forward(self, x: Any) -> Any:
            # the mean over the picture leaves out its black padding
            inside = F.avg_pool2d((x.amax(dim=1, keepdim=True) > 0).to(x.dtype), 32)
            x = self.stem((x - 0.5) * 4)
            kept = []
            for down in self.down:
                kept.append(x)
                x = down(x)
            mean = (x * inside).sum(dim=(2, 3)) / (inside.sum(dim=(2, 3)) + 1e-3)
            x = x + self.whole(mean)[:, :, None, None]
            for k in reversed(range(4)):
                x = F.interpolate(self.side[k](x), scale_factor=2.0, mode="bilinear", align_corners=False)
                x = self.up[k](x + kept[k])
            return self.last(x)

    torch.manual_seed(0)
    return Net()


def loss_of(found: Any, wanted: Any) -> Any:
    """Weighted cross-entropy and, for kinds that are there, one less the overlap (soft Dice)."""
    import torch
    import torch.nn.functional as F

    weight = torch.tensor(WEIGHTS, device=found.device)
    main = F.cross_entropy(found.float(), wanted.long(), weight=weight, ignore_index=UNKNOWN)
    known = (wanted != UNKNOWN)[:, None].float()
    p = found.float().softmax(dim=1) * known
    hot = F.one_hot(wanted.long().clamp(max=len(SEEN)), 1 + len(SEEN)).permute(0, 3, 1, 2).float() * known
    both, size = (p * hot).sum(dim=(0, 2, 3))[1:], (p + hot).sum(dim=(0, 2, 3))[1:]
    there = hot.sum(dim=(0, 2, 3))[1:] > 0
    dice = 1 - (2 * both + 1) / (size + 1)
    return main + 0.5 * dice[there].sum() / max(1, len(SEEN))


class Kept:
    """Pictures as they arrive, on the device; `count` of them are there."""

    def __init__(self, most: int, device: str) -> None:
        import torch

        self.images = torch.zeros((most, 3, LONG_PX, LONG_PX), dtype=torch.uint8, device=device)
        self.labels = torch.zeros((most, LONG_PX // 2, LONG_PX // 2), dtype=torch.uint8, device=device)
        self.count = 0

    def add(self, image: NDArray[np.uint8], labels: NDArray[np.uint8]) -> None:
        import torch

        self.images[self.count] = torch.from_numpy(image).to(self.images.device)
        self.labels[self.count] = torch.from_numpy(labels).to(self.images.device)
        self.count += 1


def teach(kept: Kept, seconds: float, device: str) -> Any:
    """A net taught for so many seconds of the clock; the mean of its last weights is given."""
    import torch

    net = make_net().to(device)
    mean = {k: v.detach().clone() for k, v in net.state_dict().items()}
    optimiser = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=2e-2)
    generator = torch.Generator().manual_seed(6)
    begun, step, recent = time.monotonic(), 0, 0.0
    while (done := (time.monotonic() - begun) / seconds) < 1:
        rate = 4e-3 * min(1.0, (step + 1) / 100) * (0.5 + 0.5 * float(np.cos(np.pi * done))) + 1e-5
        for group in optimiser.param_groups:
            group["lr"] = rate
        chosen = torch.randint(kept.count, (min(BATCH, kept.count),), generator=generator).to(device)
        x, y = kept.images[chosen].float() / 255, kept.labels[chosen]
        turn = torch.rand(3, generator=generator)
        if turn[0] < 0.5:
            x, y = x.flip(3), y.flip(2)
        if turn[1] < 0.25:
            x, y = x.flip(2), y.flip(1)
        if turn[2] < 0.25:
            x, y = x.transpose(2, 3), y.transpose(1, 2)
        gain = 1 + 0.12 * torch.randn((len(x), 3, 1, 1), generator=generator).to(device)
        x = (x * gain + 0.03 * torch.randn((len(x), 1, 1, 1), generator=generator).to(device)).clamp(0, 1)
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            found = net(x.contiguous())
        loss = loss_of(found, y)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        fade = min(0.995, 1 - 10 / (10 + step))
        with torch.no_grad():
            for key, value in net.state_dict().items():
                if value.dtype.is_floating_point:
                    mean[key].lerp_(value, 1 - fade)
        recent = 0.98 * recent + 0.02 * float(loss.detach()) if step else float(loss.detach())
        if step % 100 == 0:
            print(f"{time.monotonic() - begun:6.1f} s  step {step}  of {kept.count} pictures  loss {recent:.4f}", flush=True)
        step += 1
    net.load_state_dict(mean)
    return net.eval().cpu()


def export(net: Any, path: Path) -> None:
    """ONNX with free size: "pixels" (1, 3, h, w) in 0..1 -> "chances" (1, 1 + kinds, h / 2, w / 2)."""
    import torch

    class Answers(torch.nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.net = net

        def forward(self, pixels: Any) -> Any:
            return torch.softmax(self.net(pixels), dim=1)

    free = {"pixels": {2: "rows", 3: "columns"}, "chances": {2: "half_rows", 3: "half_columns"}}
    torch.onnx.export(Answers().eval(), (torch.zeros(1, 3, 256, 320),), str(path), input_names=["pixels"],
                      output_names=["chances"], dynamic_axes=free, opset_version=17, dynamo=False)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--grounds", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--labelled", nargs="*", default=[])
    parser.add_argument("--pictures", type=int, default=9000)
    parser.add_argument("--surfaces", type=int, default=SURFACES)
    parser.add_argument("--seconds", type=float, default=80.0)
    parser.add_argument("--workers", type=int, default=15)
    chosen = parser.parse_args(arguments)
    import torch

    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.backends.cudnn.benchmark = True
    begun = time.monotonic()
    context = multiprocessing.get_context("fork" if device == "cpu" else "spawn")
    with context.Pool(chosen.workers) as pool:
        surfaces = pool.map(drawn_ground, range(FIRST["fit"], FIRST["fit"] + chosen.surfaces), chunksize=1)
    print(f"{len(surfaces)} surfaces after {time.monotonic() - begun:.0f} s", flush=True)
    wanted = seeds(chosen.pictures, bool(chosen.labelled))
    kept = Kept(len(wanted), device)
    with context.Pool(chosen.workers, _begin, (str(chosen.grounds), surfaces, chosen.labelled)) as pool:
        arriving = pool.imap_unordered(_picture, wanted, chunksize=4)

        def collect() -> None:
            for image, labels in arriving:
                kept.add(image, labels)
            print(f"all {kept.count} pictures after {time.monotonic() - begun:.0f} s", flush=True)

        thread = threading.Thread(target=collect, daemon=True)
        thread.start()
        while kept.count < min(300, chosen.pictures):
            time.sleep(0.2)
        net = teach(kept, chosen.seconds, device)
        pool.terminate()
    chosen.out.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), str(chosen.out / "hardware.pt"))
    export(net, chosen.out / "hardware.onnx")
    print(f"written after {time.monotonic() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    main()

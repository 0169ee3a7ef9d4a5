"""Teach the layout net on an endless stream of composites.

    python -m training.layout_net --photos DIR --textures DIR --out DIR [--seconds 420] [--workers 15]

needs PyTorch, ONNX and a GPU; it can run on another machine. It teaches one net on all figures of the part 'tune'
(`layouts.onnx`) and one that is never shown a third of those who took them (`layouts_0.onnx`, fold 0), to judge by and to
set the probabilities by (training/layout_fit.py). Processes lay up panels all the while; each panel is used several times,
turned over and disturbed anew. Made-up logs belong to no fold.
"""

from __future__ import annotations

import argparse
import queue
import time
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from training.composites.figures import load
from training.layout_folds import FOLDS, JUDGED, fold_of
from training.layout_net_examples import CLASSES, MOST, Example, Source
from vision.layouts.canvas import CHANNELS, STEPS, TALL, WIDE
from vision.layouts.learned import WEDGES

BATCH, HELD = 96, 26000
#: Axes and joints are drawn this wide (sigma, cells of four canvas px).
SIGMA = 0.8
FACTORS = {"name": 1.0, "wedges": 0.25, "axis": 3.0, "direction": 0.5, "seam": 2.0, "centre": 1.0}


def _produce(photos: Path, textures: Path | None, seed: int, out: Any, stop: Any) -> None:
    cv2.setNumThreads(1)
    source = Source(load(photos, textures, "tune"), seed)
    while not stop.is_set():
        out.put(source.example())
    out.cancel_join_thread()


class Store:
    """A ring of examples on the GPU."""

    def __init__(self, groups: list[str], size: int = HELD) -> None:
        import torch  # type: ignore[import-not-found]

        self.groups, self.size, self.seen = groups, size, 0
        self.channels = torch.zeros(size, CHANNELS, TALL, WIDE, dtype=torch.int8, device="cuda")
        self.lines = torch.full((2, size, MOST, 4), float("nan"), device="cuda")
        self.centre = torch.full((size, 2), float("nan"), device="cuda")
        self.labels = torch.zeros(size, 3, dtype=torch.long, device="cuda")

    def add(self, e: Example) -> None:
        """Take in one example, in place of the oldest when full."""
        import torch

        k = self.seen % self.size
        self.channels[k] = torch.from_numpy(e.channels).cuda(non_blocking=True)
        self.lines[0, k], self.lines[1, k] = torch.from_numpy(e.axes).cuda(), torch.from_numpy(e.seams).cuda()
        self.centre[k] = torch.from_numpy(e.centre).cuda()
        self.labels[k] = torch.tensor([e.name, e.wedges, fold_of(e.group, self.groups)]).cuda()
        self.seen += 1


def losses(found: tuple[Any, Any, Any], labels: Any, axis: Any, way: Any, seam: Any, centre: Any) -> dict[str, Any]:
    """Every part of the loss."""
    import torch.nn.functional as F  # type: ignore[import-not-found]

    name, wedges, maps = (f.float() for f in found)
    weight = 1 + 4 * axis
    return {
        "name": F.cross_entropy(name, labels[:, 0], label_smoothing=0.02),
        "wedges": F.cross_entropy(wedges, labels[:, 1]),
        "axis": (F.binary_cross_entropy_with_logits(maps[:, 0], axis, reduction="none") * weight).mean(),
        "direction": ((maps[:, 1:3] - way).square().sum(1) * axis).sum() / axis.sum().clamp(min=1.0),
        "seam": (F.binary_cross_entropy_with_logits(maps[:, 3], seam, reduction="none") * (1 + 2 * seam)).mean(),
        "centre": (F.binary_cross_entropy_with_logits(maps[:, 4], centre, reduction="none") * (1 + 9 * centre)).mean(),
    }


def batch_of(store: Store, generator: Any) -> tuple[Any, ...]:
    """(canvases, labels, axis map, direction, joint map, centre map) of a disturbed batch."""
    import torch

    from training import layout_net_layers as layers

    k = torch.randint(min(store.seen, store.size), (BATCH,), generator=generator).cuda()
    lines = store.lines[:, k]
    both, ends, centre = layers.moved(store.channels[k].float() / STEPS, torch.cat([lines[0], lines[1]], 1), store.centre[k],
                                      generator)
    axis, way = layers.lines_map(ends[:, :MOST], SIGMA)
    seam, _ = layers.lines_map(ends, SIGMA)
    point, _ = layers.lines_map(torch.cat([centre, centre], 1)[:, None], 2 * SIGMA)
    return layers.disturbed(both, generator), store.labels[k], axis, way, seam, point


def teach(photos: Path, textures: Path | None, seconds: float, workers: int, seed: int = 0) -> list[Any]:
    """Nets for each fold of `JUDGED` (not shown that fold), then one shown everything; stops after `seconds`."""
    import torch

    from training import layout_net_layers as layers

    groups = sorted({f.group for f in load(photos, textures, "tune")})
    context = get_context("spawn")
    made: Any = context.Queue(256)
    stop = context.Event()
    makers = [context.Process(target=_produce, args=(photos, textures, seed * 1000 + k, made, stop), daemon=True)
              for k in range(workers)]
    for m in makers:
        m.start()
    torch.manual_seed(seed)
    torch.backends.cudnn.benchmark = True
    generator = torch.Generator().manual_seed(seed)
    nets = [layers.LayoutNet(len(CLASSES), len(WEDGES)).cuda().to(memory_format=torch.channels_last)
            for _ in range(len(JUDGED) + 1)]
    optimiser = torch.optim.AdamW([p for net in nets for p in net.parameters()], lr=1e-3, weight_decay=5e-3, fused=True)
    store = Store(groups)
    begun, step, told = time.monotonic(), 0, 0.0
    while (done := (time.monotonic() - begun) / seconds) < 1:
        for _ in range(64):
            try:
                store.add(made.get(block=store.seen < 300, timeout=60))
            except queue.Empty:
                break
        for group in optimiser.param_groups:
            group["lr"] = 2.5e-3 * min(1.0, (step + 1) / 150) * (0.5 + 0.5 * float(np.cos(np.pi * done))) + 1e-5
        with torch.no_grad():
            x, labels, axis, way, seam, point = batch_of(store, generator)
            x = x.contiguous(memory_format=torch.channels_last)
        total = torch.zeros((), device="cuda")
        parts: dict[str, Any] = {}
        for fold, net in zip((*JUDGED, FOLDS), nets, strict=True):
            keep = torch.nonzero(labels[:, 2] != fold)[:, 0]
            # always as many, some twice: each size of batch would be tuned for anew
            keep = keep[torch.arange(BATCH, device="cuda") % len(keep)]
            with torch.autocast("cuda", dtype=torch.bfloat16):
                found = net(x[keep])
            parts = losses(found, labels[keep], axis[keep], way[keep], seam[keep], point[keep])
            total = total + sum(FACTORS[k] * v for k, v in parts.items())
        optimiser.zero_grad(set_to_none=True)
        total.backward()
        torch.nn.utils.clip_grad_norm_([p for net in nets for p in net.parameters()], 8.0)
        optimiser.step()
        step += 1
        if time.monotonic() - begun > 90 and step < 20:
            raise RuntimeError(f"only {step} steps in 90 s")
        if time.monotonic() - told > 20:
            told = time.monotonic()
            right = float((found[0].argmax(1) == labels[keep, 0]).float().mean())
            print(f"{told - begun:6.1f} s  step {step}  examples {store.seen}  right {right:.2f}  " +
                  "  ".join(f"{k} {float(v.detach()):.3f}" for k, v in parts.items()), flush=True)
    stop.set()
    for m in makers:
        m.terminate()
    for net in nets:
        net.eval()
    return nets


def export(net: Any, path: Path) -> None:
    """Write a net as ONNX: `name` and `wedges` logits, `maps` with probabilities in place of logits."""
    import torch

    class Answers(torch.nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.net = net.float().cpu().eval()

        def forward(self, canvas: Any) -> Any:
            name, wedges, maps = self.net(canvas)
            return name, wedges, torch.cat([torch.sigmoid(maps[:, :1]), maps[:, 1:3], torch.sigmoid(maps[:, 3:])], 1)

    torch.onnx.export(Answers(), (torch.zeros(1, CHANNELS, TALL, WIDE),), str(path), input_names=["canvas"],
                      output_names=["name", "wedges", "maps"], opset_version=17, dynamo=False)


def check(net: Any, path: Path) -> float:
    """Largest difference between a net and what ONNX Runtime makes of its file, on noise."""
    import onnxruntime
    import torch

    session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    x = np.random.default_rng(0).normal(size=(1, CHANNELS, TALL, WIDE)).astype(np.float32)
    with torch.no_grad():
        name = net.float().cpu().eval()(torch.from_numpy(x))[0].numpy()
    return float(np.abs(name - session.run(["name"], {"canvas": x})[0]).max())


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=420.0)
    parser.add_argument("--workers", type=int, default=15)
    args = parser.parse_args()
    nets = teach(args.photos, args.textures, args.seconds, args.workers)
    args.out.mkdir(parents=True, exist_ok=True)
    for fold, net in zip((*JUDGED, FOLDS), nets, strict=True):
        path = args.out / ("layouts.onnx" if fold == FOLDS else f"layouts_{fold}.onnx")
        export(net, path)
        print(f"{path.name}: {path.stat().st_size / 1e6:.2f} MB, ONNX Runtime differs by {check(net, path):.2g}")


if __name__ == "__main__":
    main()

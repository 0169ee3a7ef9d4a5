"""Teach the damage net on panels drawn while it learns.

    python -m training.damage_net --photos DIR --out FOLDER [--panels 64000] [--seconds 480] [--workers 15] [--begin damage.onnx]

Needs PyTorch, ONNX and a GPU for about eight minutes, and many processor cores beside it to draw panels (fifteen draw some 200
a second; each takes 0.84 MB of memory here and on the GPU). `--photos` is what `python -m training.damage.parts` wrote of
the collection, with training/damage/rendered_bases.py beside it, or the collection itself. Panels are of part 'teach'
(training/damage/parts.py); each is spoilt anew every time it is seen (training/damage/spoil.py). `--begin`: a shipped net to
teach on from, which must have the layers of training/damage/unet.py. Thresholds and chances come from training/damage_fit.py.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from training.damage.stream import Store, start
from training.damage.unet import loss_of, make_net, torch_device
from training.damage.warm import warm
from training.half_onnx import halve
from vision.damage.net import SIDE

#: Panels a step, panels needed before teaching begins, averaging of weights, learning rate, its decay.
BATCH, LEAST, FADE, RATE, DECAY = 64, 480, 0.999, 2.5e-3, 2e-2
#: Lessons that a net read back is settled by, and seconds between copies kept while teaching.
SETTLE, KEEP = 128, 100.0


def teach(
    store: Store, seconds: float, batch: int = BATCH, least: int = LEAST, begin: Path | None = None, keep: Path | None = None,
    rate: float = RATE,
) -> Any:
    """A net taught for `seconds` on what the store holds so far at each moment; its weights are averaged over late steps.

    `begin`: ONNX file of a shipped net to teach on from; `keep`: where averaged weights are kept meanwhile.
    """
    import torch  # type: ignore[import-not-found]

    from training.damage.spoil import spoil

    device = torch_device()
    begun = time.monotonic()
    held = Held(store, device)
    while held.renew() < least:
        time.sleep(0.2)
    print(f"{time.monotonic() - begun:6.1f} s  {len(held.numbers)} panels to begin with", flush=True)
    net = make_net().to(device)
    if begin is not None:
        first = torch.from_numpy(held.numbers[:SETTLE]).to(device)
        warm(net, begin, *spoil(held.pictures[first], held.truth[first])[:2])
    net = net.to(memory_format=torch.channels_last)
    now = [v for v in net.state_dict().values() if v.is_floating_point()]
    mean = [v.detach().clone() for v in now]
    heavy = [p for p in net.parameters() if p.ndim > 1]
    light = [p for p in net.parameters() if p.ndim <= 1]
    groups = [{"params": heavy, "weight_decay": DECAY}, {"params": light, "weight_decay": 0.0}]
    optimiser = torch.optim.AdamW(groups, lr=rate, betas=(0.9, 0.98))
    begun_steps, rng, step = time.monotonic(), np.random.default_rng(6), 0
    recent, told, kept = torch.zeros(3, device=device), 0.0, time.monotonic()
    while (done := (time.monotonic() - begun) / seconds) < 1:
        if step % 20 == 0:
            held.renew()
        rise = min(1.0, (step + 1) / 200)
        for group in optimiser.param_groups:
            group["lr"] = rate * rise * (0.5 + 0.5 * float(np.cos(np.pi * min(1.0, done)))) + 1e-5
        chosen = torch.from_numpy(rng.choice(held.numbers, size=batch)).to(device)
        pictures, inside, truth = spoil(held.pictures[chosen], held.truth[chosen])
        with torch.autocast(device.type, dtype=torch.bfloat16, enabled=device.type == "cuda"):
            found = net(pictures.contiguous(memory_format=torch.channels_last), inside)
        loss, parts = loss_of(found, truth)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 4.0)
        optimiser.step()
        with torch.no_grad():
            torch._foreach_lerp_(mean, now, 1 - min(FADE, 1 - 10 / (10 + step)))
        recent = recent.lerp(parts, 0.02 if step else 1.0)
        if time.monotonic() - told > 10:
            told = time.monotonic()
            shown = " ".join(f"{v:.4f}" for v in recent.tolist())
            print(f"{told - begun:6.1f} s  step {step}  panels {len(held.numbers)}  {shown}", flush=True)
        if keep is not None and time.monotonic() - kept > KEEP:
            kept = time.monotonic()
            names = [n for n, v in net.state_dict().items() if v.is_floating_point()]
            torch.save(dict(zip(names, mean, strict=True)), keep)
        step += 1
    print(f"{step} steps of {batch}, {step * batch / (time.monotonic() - begun_steps):.0f} pictures a second", flush=True)
    with torch.no_grad():
        for value, average in zip(now, mean, strict=True):
            value.copy_(average)
    return net.float().eval().cpu().to(memory_format=torch.contiguous_format)


class Held:
    """What is ready of a store, copied once to the device that teaches. `numbers`: which panels are there."""

    def __init__(self, store: Store, device: Any) -> None:
        import torch

        self.store, self.device = store, device
        self.numbers = np.zeros(0, np.int64)
        self.pictures = torch.empty(store.pictures.shape, dtype=torch.uint8, device=device)
        self.truth = torch.empty(store.truth.shape, dtype=torch.uint8, device=device)

    def renew(self) -> int:
        """Copy what has become ready; the number of panels there."""
        import torch

        new = np.setdiff1d(np.flatnonzero(self.store.ready.copy()), self.numbers)  # others write to it meanwhile
        for low in range(0, len(new), 128):
            part = new[low : low + 128]
            at = torch.from_numpy(part).to(self.device)
            self.pictures[at] = torch.from_numpy(self.store.pictures[part]).to(self.device)
            self.truth[at] = torch.from_numpy(self.store.truth[part]).to(self.device)
        self.numbers = np.concatenate([self.numbers, new])
        return len(self.numbers)


def export(net: Any, path: Path) -> None:
    """Write the net as one ONNX file with free size that answers with shares; large weights as half floats."""
    import torch

    class Answers(torch.nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.net = net

        def forward(self, picture: Any, inside: Any) -> Any:
            kinds, under = self.net(picture, inside)
            return torch.softmax(kinds, dim=1), torch.softmax(under, dim=1)

    names = ["picture", "inside"]
    given = (torch.rand(1, 3, 320, SIDE), torch.ones(1, 1, 320, SIDE))
    free = {name: {2: f"{name}_rows", 3: f"{name}_columns"} for name in (*names, "kinds", "under")}
    torch.onnx.export(
        Answers().eval(),
        given,
        str(path),
        input_names=names,
        output_names=["kinds", "under"],
        dynamic_axes=free,
        opset_version=17,
        dynamo=False,
    )
    halve(path)
    _compare(net, path)


def _compare(net: Any, path: Path) -> None:
    """Print how far the file's answers lie from the net's, its size and its time on one core."""
    import onnxruntime
    import torch

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    session = onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
    for rows, columns in ((96, SIDE), (320, SIDE)):
        picture, inside = torch.rand(1, 3, rows, columns), torch.ones(1, 1, rows, columns)
        inside[..., -20:] = 0
        with torch.no_grad():
            want = torch.softmax(net(picture, inside)[0], dim=1).numpy()
        fed = {"picture": picture.numpy(), "inside": inside.numpy()}
        took = []
        for _ in range(7):
            begun = time.perf_counter()
            got = session.run(["kinds"], fed)[0]
            took.append(time.perf_counter() - begun)
        gap = float(np.abs(got - want).max())
        size = path.stat().st_size
        print(f"file against net at {rows} by {columns}: {gap:.4f}; {1000 * min(took):.0f} ms, {size} bytes", flush=True)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--panels", type=int, default=64000)
    parser.add_argument("--seconds", type=float, default=480.0, help="wall clock from the start of teaching")
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--batch", type=int, default=BATCH)
    parser.add_argument("--least", type=int, default=LEAST, help="panels needed before teaching begins")
    parser.add_argument("--begin", type=Path, help="ONNX file of a shipped net to teach on from")
    parser.add_argument("--rate", type=float, default=RATE, help="highest learning rate")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    args.out.mkdir(parents=True, exist_ok=True)
    store = Store.of(args.panels)
    drawing = start(store, args.photos, args.workers)
    try:
        net = teach(store, args.seconds, args.batch, args.least, args.begin, args.out / "damage.pt", args.rate)
    finally:
        for process in drawing:
            process.terminate()
    export(net, args.out / "damage.onnx")


if __name__ == "__main__":
    main()

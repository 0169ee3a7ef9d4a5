"""Teach the damage net on an endless stream of drawn panels.

    python -m training.damage_net --photos DIR --textures DIR --out DIR [--seconds 150] [--workers 15]

Needs PyTorch, ONNX and a GPU; it can run on another machine. Workers draw panels of part 'teach' (training/damage/parts.py)
all the while; each crop is used a few times, turned, mirrored and disturbed anew. The net answers on cells of 4 pixels:
sound or one kind of damage, and what shows beneath.
"""

from __future__ import annotations

import argparse
import multiprocessing
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np

from vision.damage.kinds import KINDS, UNDER_WORDS

BATCH, HELD, UNDER_WEIGHT, FADE = 32, 12000, 0.3, 0.998


def draw(photos: str, textures: str, worker: int, workers: int, queue: Any) -> None:
    """A worker: panels of its own seeds without end, six of a raw surface at a time."""
    import cv2

    from training.damage.cells import crop_of
    from training.damage.make import PANELS_A_SURFACE, make_panel
    from training.damage.parts import bank_of, seed_of

    cv2.setNumThreads(1)
    bank = bank_of("teach", Path(photos), Path(textures))
    turn = worker
    while True:
        for k in range(PANELS_A_SURFACE):
            seed = seed_of("teach", turn * PANELS_A_SURFACE + k)
            crop = crop_of(make_panel(seed, bank), np.random.default_rng([seed, 3]))
            queue.put((crop.pixels, np.stack([crop.kinds, crop.under, crop.weight])))
        turn += workers


def make_net() -> Any:
    """The net: image (n, 3, h, w) and the backbone's s8, s16, s32 -> logits (n, 1 + kinds, h/4, w/4) and (n, under, h/4, w/4)."""
    import torch  # type: ignore[import-not-found]
    import torch.nn.functional as F  # type: ignore[import-not-found]
    from torch import nn

    def normed(inputs: int, outputs: int, size: int = 1, stride: int = 1) -> Any:
        return nn.Sequential(nn.Conv2d(inputs, outputs, size, stride, size // 2, bias=False), nn.BatchNorm2d(outputs), nn.ReLU())

    class Block(nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self, width: int, dilation: int = 1) -> None:
            super().__init__()
            self.body = nn.Sequential(
                nn.Conv2d(width, width, 5, 1, 2 * dilation, dilation, groups=width, bias=False),
                nn.BatchNorm2d(width),
                normed(width, 2 * width),
                nn.Conv2d(2 * width, width, 1, bias=False),
                nn.BatchNorm2d(width),
            )

        def forward(self, x: Any) -> Any:
            return x + self.body(x)

    class Net(nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.at4 = nn.Sequential(normed(3, 16, 3, 2), normed(16, 48, 3, 2), Block(48))
            self.from4 = normed(48, 96, 3, 2)
            self.in8, self.in16, self.in32 = normed(40, 96), normed(112, 96), normed(320, 96)
            self.at32, self.at16 = Block(96), nn.Sequential(Block(96), Block(96, 2), Block(96))
            self.at8 = nn.Sequential(Block(96), Block(96), Block(96))
            self.to4, self.out4 = normed(96, 48), nn.Sequential(Block(48), Block(48))
            self.kinds, self.under = nn.Conv2d(48, 1 + len(KINDS), 1), nn.Conv2d(48, len(UNDER_WORDS), 1)

        def forward(self, image: Any, s8: Any, s16: Any, s32: Any) -> tuple[Any, Any]:
            def twice(x: Any) -> Any:
                return F.interpolate(x, scale_factor=2, mode="nearest")

            quarter = self.at4(image)
            x = self.at32(self.in32(s32))
            x = x + x.mean(dim=(2, 3), keepdim=True)
            x = self.at16(self.in16(s16) + twice(x))
            x = self.at8(self.in8(s8) + self.from4(quarter) + twice(x))
            x = self.out4(quarter + twice(self.to4(x)))
            return self.kinds(x), self.under(x)

    torch.manual_seed(0)
    return Net()


def loss_of(found: tuple[Any, Any], truth: Any) -> Any:
    """Weighted cross-entropy of both answers and the overlap loss of damage as such; `truth` (n, 3, h, w) uint8."""
    import torch
    import torch.nn.functional as F

    kinds, under = found[0].float(), found[1].float()
    wanted, beneath, weight = truth[:, 0].long(), truth[:, 1].long(), truth[:, 2].float() / 16
    main = (F.cross_entropy(kinds, wanted, reduction="none") * weight).sum() / weight.sum().clamp(min=1)
    damaged, any_ = (wanted > 0).float(), 1 - torch.softmax(kinds, dim=1)[:, 0]
    known = (weight > 0).float()
    both = (any_ * damaged * known).sum(dim=(1, 2))
    overlap = 1 - (2 * both + 20) / ((any_ * known).sum(dim=(1, 2)) + damaged.sum(dim=(1, 2)) + 20)
    shown = (beneath > 0).float()
    second = (F.cross_entropy(under, (beneath - 1).clamp(min=0), reduction="none") * shown).sum() / shown.sum().clamp(min=1)
    return main + 0.3 * overlap.mean() + UNDER_WEIGHT * second


class Held:
    """The crops drawn last, filled in the background by workers. On a GPU the backbone runs on each disturbed batch; without
    one its maps are made once a crop and kept, and nothing is disturbed."""

    def __init__(self, photos: str, textures: str, workers: int, size: int, device: str) -> None:
        import torch

        self.device, self.size, self.count, self.stop = device, size, 0, False
        self.pixels = torch.zeros(size, 384, 384, 3, dtype=torch.uint8, device=device)
        self.truth = torch.zeros(size, 3, 96, 96, dtype=torch.uint8, device=device)
        self.maps = (
            []
            if device == "cuda"
            else [torch.zeros(size, c, 384 // k, 384 // k, dtype=torch.float16) for c, k in ((40, 8), (112, 16), (320, 32))]
        )
        context = multiprocessing.get_context("spawn")
        self.queue = context.Queue(maxsize=8 * workers)
        self.crews = [
            context.Process(target=draw, args=(photos, textures, k, workers, self.queue), daemon=True) for k in range(workers)
        ]
        for crew in self.crews:
            crew.start()
        threading.Thread(target=self._fill, daemon=True).start()

    def _fill(self) -> None:
        import torch

        from vision import backbone

        while not self.stop:
            image, cells = self.queue.get()
            at = self.count % self.size
            self.pixels[at].copy_(torch.from_numpy(image))
            self.truth[at].copy_(torch.from_numpy(cells))
            if self.maps:
                seen = backbone.maps(image, ("s8", "s16", "s32"))
                for held, name in zip(self.maps, ("s8", "s16", "s32"), strict=True):
                    held[at].copy_(torch.from_numpy(seen[name]))
            self.count += 1

    def close(self) -> None:
        """Let the workers go."""
        self.stop = True
        for crew in self.crews:
            crew.terminate()


def teach(photos: str, textures: str, seconds: float, workers: int, device: str = "cuda", size: int = HELD) -> Any:
    """A net taught for `seconds` (drawing included); its weights are averaged over the last steps."""
    import torch

    from training import boundary_net_layers as layers

    held = Held(photos, textures, workers, size, device)
    backbone = layers.frozen_backbone("vision/models/backbone.onnx", device) if device == "cuda" else None
    net = make_net().to(device).to(memory_format=torch.channels_last)
    mean = {k: v.detach().clone() for k, v in net.state_dict().items()}
    optimiser = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=1e-2)
    generator = torch.Generator().manual_seed(1)
    while held.count < 4 * BATCH:
        time.sleep(0.2)
    begun, step = time.monotonic(), 0
    while (done := (time.monotonic() - begun) / seconds) < 1:
        rate = min(1.0, (step + 1) / 150) * (0.5 + 0.5 * float(np.cos(np.pi * done)))
        for group in optimiser.param_groups:
            group["lr"] = 2.5e-3 * rate + 1e-5
        have = min(held.count, size)
        # half of each batch from the newest crops, so that what is new is seen soon
        newest = (held.count - 1 - torch.randint(min(have, 1500), (BATCH // 2,), generator=generator)) % size
        chosen = torch.cat([newest, torch.randint(have, (BATCH - BATCH // 2,), generator=generator)]).to(device)
        images, wanted = held.pixels[chosen].permute(0, 3, 1, 2).float(), held.truth[chosen]
        if backbone is not None:
            images, wanted = moved(images, wanted, generator)
            with torch.no_grad():
                blank = (images == 127).all(dim=1, keepdim=True)
                hurt = (torch.rand(BATCH, 1, 1, 1, generator=generator) < 0.6).to(device)
                images = torch.where(hurt & ~blank, layers.disturb(images, generator), images)
        normal = ((images - 127) / 128).contiguous(memory_format=torch.channels_last)
        with torch.no_grad():
            maps = [m.float() for m in backbone(normal)] if backbone is not None else [m[chosen].float() for m in held.maps]
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            found = net(normal, *maps)
        loss = loss_of(found, wanted)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        fade = min(FADE, 1 - 10 / (10 + step))
        with torch.no_grad():
            for key, value in net.state_dict().items():
                if value.dtype.is_floating_point:
                    mean[key].lerp_(value.detach(), 1 - fade)
                else:
                    mean[key].copy_(value)
        if step % 100 == 0:
            print(
                f"{time.monotonic() - begun:6.1f} s  step {step}  drawn {held.count}  loss {float(loss.detach()):.4f}", flush=True
            )
        step += 1
    held.close()
    net.load_state_dict(mean)
    return net.eval()


def moved(images: Any, wanted: Any, generator: Any) -> tuple[Any, Any]:
    """A batch and its truth turned by quarters and mirrored."""
    import torch

    turn, mirror = int(torch.randint(4, (1,), generator=generator)), bool(torch.rand((), generator=generator) < 0.5)
    images, wanted = torch.rot90(images, turn, (2, 3)), torch.rot90(wanted, turn, (2, 3))
    return (images.flip(3), wanted.flip(3)) if mirror else (images, wanted)


def export(net: Any, path: Path) -> None:
    """Write the net as ONNX with free image size and shares as output; weights are stored as half floats."""
    import onnx
    import torch
    from onnx import numpy_helper

    class Answers(torch.nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.net = net.float().cpu().eval()

        def forward(self, image: Any, s8: Any, s16: Any, s32: Any) -> Any:
            kinds, under = self.net(image, s8, s16, s32)
            return torch.softmax(kinds, dim=1), torch.softmax(under, dim=1)

    names = ["image", "s8", "s16", "s32"]
    inputs = tuple(torch.zeros(1, c, 320 // k, 448 // k) for c, k in ((3, 1), (40, 8), (112, 16), (320, 32)))
    axes = {name: {2: f"{name}_rows", 3: f"{name}_columns"} for name in (*names, "kinds", "under")}
    torch.onnx.export(
        Answers(),
        inputs,
        str(path),
        input_names=names,
        output_names=["kinds", "under"],
        dynamic_axes=axes,
        opset_version=17,
        dynamo=False,
    )
    model = onnx.load(str(path))
    casts = []
    for held in list(model.graph.initializer):
        values = numpy_helper.to_array(held)
        if values.dtype != np.float32 or values.size < 512:
            continue
        half = numpy_helper.from_array(values.astype(np.float16), f"{held.name}_half")
        casts.append(onnx.helper.make_node("Cast", [half.name], [held.name], to=onnx.TensorProto.FLOAT))
        model.graph.initializer.remove(held)
        model.graph.initializer.append(half)
    for node in reversed(casts):
        model.graph.node.insert(0, node)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", required=True)
    parser.add_argument("--textures", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=150.0)
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--device", default="cuda", choices=("cuda", "cpu"))
    parser.add_argument("--size", type=int, default=HELD, help="crops held at a time")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    export(make_net(), args.out / "damage.onnx")  # what cannot be written should fail before it is taught
    net = teach(args.photos, args.textures, args.seconds, args.workers, args.device, args.size)
    np.savez(args.out / "damage.npz", **{k: v.float().cpu().numpy() for k, v in net.state_dict().items()})
    export(net, args.out / "damage.onnx")


if __name__ == "__main__":
    main()

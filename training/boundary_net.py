"""Teach the boundary net: where one panel ends and the next begins, and what is furniture at all.

    python -m training.boundary_net_examples --photos DIR --renders DIR --cache DIR --out examples.npz
    python -m training.boundary_net --examples examples.npz --out DIR [--seconds 330]

The second command needs PyTorch, ONNX and a GPU; it can run on another machine. It teaches one net on everything
(`boundary.onnx`) and one for each fold (`boundary_K.onnx`, never shown fold K) to judge by. All nets see the same batches,
less the pictures of the fold they must not see. The net stands on the frozen backbone that the program runs anyway.
"""

from __future__ import annotations

import argparse
import io
import time
from pathlib import Path
from typing import Any

import numpy as np

#: Codes of a real photo's label map; a rendered photo's map holds the ids of its things.
UNKNOWN, ONE_SURFACE, FURNITURE, NO_FURNITURE = 0, 1, 2, 3
#: Ids of rendered things from here on are no furniture; 0 is nothing at all (the dark inside of a gap).
FIRST_BACKGROUND = 200
SIDE, BATCH, CANVAS = 480, 24, 640
#: Weight of a boundary pixel against one that is none, of real surfaces without boundary, and of furniture.
BOUNDARY_WEIGHT, REAL_WEIGHT, FURNITURE_WEIGHT = 3.0, 0.5, 0.5


def unpack(path: Path) -> dict[str, Any]:
    """Examples as tensors: `pixels` (n, 3, CANVAS, CANVAS) and `labels` (n, 1, CANVAS, CANVAS) uint8, `sizes` (n, 2)
    height, width, `rendered`, `fold` (n,), `quads`: for each example a list of (4, 2) tensors."""
    import torch  # type: ignore[import-not-found]
    from PIL import Image

    with np.load(path) as d:
        blob, ends = d["blob"].tobytes(), [0, *d["ends"].tolist()]
        rendered, fold = d["rendered"], d["fold"]
        owner, corners = d["owner"], d["quads"]
    n = len(fold)
    pixels = torch.zeros(n, 3, CANVAS, CANVAS, dtype=torch.uint8)
    labels = torch.zeros(n, 1, CANVAS, CANVAS, dtype=torch.uint8)
    sizes = torch.zeros(n, 2, dtype=torch.long)
    for k in range(n):
        picture, map_ = (np.array(Image.open(io.BytesIO(blob[ends[i]:ends[i + 1]]))) for i in (2 * k, 2 * k + 1))
        h, w = map_.shape
        sizes[k] = torch.tensor([h, w])
        pixels[k, :, :h, :w] = torch.from_numpy(picture).permute(2, 0, 1)
        labels[k, 0, :h, :w] = torch.from_numpy(map_)
    quads: list[list[Any]] = [[] for _ in range(n)]
    for k, quad in zip(owner.tolist(), corners, strict=True):
        quads[k].append(torch.from_numpy(quad))
    return {"pixels": pixels, "labels": labels, "sizes": sizes, "rendered": torch.from_numpy(rendered),
            "fold": torch.from_numpy(fold), "quads": quads}


def targets(labels: Any, gaps: Any, valid: Any, rendered: Any) -> tuple[Any, Any, Any, Any]:
    """(boundary, its weight) at half and (furniture, its weight) at a quarter of the size, float32.

    `labels`, `gaps`, `valid`: (n, 1, s, s); `rendered`: (n,) bool.
    """
    import torch
    import torch.nn.functional as F  # type: ignore[import-not-found]

    real = ~rendered[:, None, None, None]
    known = valid > 0.5
    edge = torch.zeros_like(gaps)
    for axis in (2, 3):
        size = labels.shape[axis]
        first, second = labels.narrow(axis, 0, size - 1), labels.narrow(axis, 1, size - 1)
        differ = ((first != second) & known.narrow(axis, 0, size - 1) & known.narrow(axis, 1, size - 1)).float()
        edge.narrow(axis, 0, size - 1).add_(differ)
        edge.narrow(axis, 1, size - 1).add_(differ)
    nothing = ((labels == 0) & known).float()
    # The inside of a narrow gap is boundary too; a broad dark hollow is not.
    broad = F.max_pool2d(-F.max_pool2d(-nothing, 7, 1, 3), 7, 1, 3)
    edge = torch.where(real, (gaps > 0.35).float(), torch.maximum((edge > 0).float(), nothing - broad))
    sure = torch.where(real, REAL_WEIGHT * ((labels == ONE_SURFACE) | (gaps > 0.35)).float(), torch.ones_like(gaps)) * known
    boundary = F.max_pool2d(edge, 2)
    weight = F.max_pool2d(sure, 2) * (1 + (BOUNDARY_WEIGHT - 1) * boundary)
    quarter, inside = labels[:, :, 1::4, 1::4], known[:, :, 1::4, 1::4]
    real_yes, real_no = (quarter == ONE_SURFACE) | (quarter == FURNITURE), quarter == NO_FURNITURE
    yes = torch.where(real, real_yes, (quarter > 0) & (quarter < FIRST_BACKGROUND))
    told = torch.where(real, real_yes | real_no, quarter > 0) & inside
    share = told.float() / told.float().mean(dim=(1, 2, 3), keepdim=True).clamp(min=0.1)
    return boundary, weight, yes.float(), share


def loss_of(found: tuple[Any, Any], wanted: tuple[Any, Any, Any, Any]) -> Any:
    """Weighted cross-entropy of both answers."""
    import torch.nn.functional as F

    boundary, furniture = found
    first = (F.binary_cross_entropy_with_logits(boundary.float(), wanted[0], reduction="none") * wanted[1]).mean()
    second = (F.binary_cross_entropy_with_logits(furniture.float(), wanted[2], reduction="none") * wanted[3]).mean()
    return first + FURNITURE_WEIGHT * second


def teach(data: dict[str, Any], backbone_path: str, seconds: float, seed: int = 0) -> list[Any]:
    """Nets for each fold (not shown that fold), then one shown everything; stops after `seconds`."""
    import torch

    from training import boundary_net_layers as layers

    torch.manual_seed(seed)
    generator = torch.Generator().manual_seed(seed)
    device = "cuda"
    backbone = layers.frozen_backbone(backbone_path, device)
    folds = int(data["fold"].max()) + 1
    first = layers.BoundaryNet().state_dict()
    nets = []
    for _ in range(folds + 1):
        net = layers.BoundaryNet().to(device).to(memory_format=torch.channels_last)
        net.load_state_dict(first)
        nets.append(net)
    optimiser = torch.optim.AdamW([p for net in nets for p in net.parameters()], lr=1e-3, weight_decay=1e-3, fused=True)
    pixels, labels = data["pixels"].to(device), data["labels"].to(device)
    real, rendered = torch.nonzero(~data["rendered"])[:, 0], torch.nonzero(data["rendered"])[:, 0]
    begun, step = time.monotonic(), 0
    while (done := (time.monotonic() - begun) / seconds) < 1:
        for group in optimiser.param_groups:
            group["lr"] = 3e-3 * min(1.0, (step + 1) / 200) * (0.5 + 0.5 * float(np.cos(np.pi * done))) + 1e-5
        third = BATCH // 3
        # A fixed share of real photos, drawn in mixed order so that every disturbance falls on both kinds.
        chosen = torch.cat([real[torch.randint(len(real), (third,), generator=generator)],
                            rendered[torch.randint(len(rendered), (BATCH - third,), generator=generator)]])
        chosen = chosen[torch.randperm(BATCH, generator=generator)]
        with torch.no_grad():
            images = pixels[chosen].float()
            quads = []
            for k in chosen.tolist():
                mine = data["quads"][k]
                one = mine[int(torch.randint(len(mine), (1,), generator=generator))] if mine else None
                quads.append(None if one is None else one.to(device))
            gaps = layers.draw_gaps(images, quads, generator)
            sizes = data["sizes"][chosen]
            at = layers.random_views(BATCH, sizes.to(device), SIDE, generator)
            high, wide = (sizes[:, i].to(device)[:, None, None] for i in (0, 1))
            valid = ((at[..., 0] > 0) & (at[..., 1] > 0) & (at[..., 0] < wide - 1) & (at[..., 1] < high - 1))[:, None].float()
            images = layers.disturb(layers.sample(images, at, "bilinear"), generator) * valid
            wanted = targets(layers.sample(labels[chosen].float(), at, "nearest"), layers.sample(gaps, at, "bilinear"), valid,
                             data["rendered"][chosen].to(device))
            normal = ((images - 127) / 128).contiguous(memory_format=torch.channels_last)
            maps = [m.float() for m in backbone(normal)]
        total = torch.zeros((), device=device)
        for number, net in enumerate(nets):
            keep = torch.nonzero(data["fold"][chosen] != number)[:, 0].to(device)
            with torch.autocast("cuda", dtype=torch.bfloat16):
                found = net(normal[keep], *(m[keep] for m in maps))
            total = total + loss_of(found, tuple(t[keep] for t in wanted))
        optimiser.zero_grad(set_to_none=True)
        total.backward()
        torch.nn.utils.clip_grad_norm_([p for net in nets for p in net.parameters()], 5.0)
        optimiser.step()
        if step % 100 == 0:
            mean = float(total.detach()) / len(nets)
            print(f"{time.monotonic() - begun:6.1f} s  step {step}  mean loss {mean:.4f}", flush=True)
        step += 1
    for net in nets:
        net.eval()
    judge(data, nets, backbone)
    return nets


def judge(data: dict[str, Any], nets: list[Any], backbone: Any) -> None:
    """Print how well each fold's net does on rendered pictures of its fold, undisturbed."""
    import torch

    for number, net in enumerate(nets[:-1]):
        hits = torch.zeros(3, device="cuda")
        right = torch.zeros(2, device="cuda")
        mine = torch.nonzero((data["fold"] == number) & data["rendered"])[:40, 0]
        for k in mine.tolist():
            h, w = data["sizes"][k].tolist()
            labels = data["labels"][k:k + 1, :, :h, :w].cuda().float()
            normal = (data["pixels"][k:k + 1, :, :h, :w].cuda().float() - 127) / 128
            with torch.no_grad():
                boundary, furniture = net(normal, *(m.float() for m in backbone(normal)))
            blank = torch.zeros_like(labels)
            wanted = targets(labels, blank, blank + 1, torch.ones(1, dtype=torch.bool, device="cuda"))
            said = boundary > 0
            hits += torch.stack([(said & (wanted[0] > 0)).sum(), said.sum(), wanted[0].sum()])
            right += torch.stack([((furniture > 0).float() == wanted[2])[wanted[3] > 0].sum(), (wanted[3] > 0).sum()])
        both, said, true = hits.tolist()
        print(f"fold {number}: boundary precision {both / max(said, 1):.3f}, recall {both / max(true, 1):.3f}, "
              f"furniture right {float(right[0] / right[1]):.3f}", flush=True)


def export(net: Any, path: Path) -> None:
    """Write a net as ONNX with free image size and probabilities as output; one file, nothing beside it."""
    import torch

    class Answers(torch.nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.net = net.float().cpu().eval()

        def forward(self, image: Any, s8: Any, s16: Any, s32: Any) -> Any:
            boundary, furniture = self.net(image, s8, s16, s32)
            return torch.sigmoid(boundary), torch.sigmoid(furniture)

    names = ["image", "s8", "s16", "s32"]
    inputs = tuple(torch.zeros(1, c, 480 // k, 640 // k) for c, k in ((3, 1), (40, 8), (112, 16), (320, 32)))
    axes = {name: {2: f"{name}_rows", 3: f"{name}_columns"} for name in (*names, "boundary", "furniture")}
    torch.onnx.export(Answers(), inputs, str(path), input_names=names, output_names=["boundary", "furniture"],
                      dynamic_axes=axes, opset_version=17, dynamo=False)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--examples", type=Path, required=True)
    parser.add_argument("--backbone", default="vision/models/backbone.onnx")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=330.0)
    args = parser.parse_args()
    nets = teach(unpack(args.examples), args.backbone, args.seconds)
    args.out.mkdir(parents=True, exist_ok=True)
    weights = {f"{n}/{k}": v.cpu().numpy() for n, net in enumerate(nets) for k, v in net.state_dict().items()}
    np.savez(args.out / "nets.npz", **weights)
    for number, net in enumerate(nets):
        export(net, args.out / ("boundary.onnx" if number == len(nets) - 1 else f"boundary_{number}.onnx"))


if __name__ == "__main__":
    main()

"""Teach the damage net on drawn panels kept on disk.

    python -m training.damage_net --photos DIR [--textures DIR] --out FOLDER [--panels 2000] [--seconds 120]

Needs PyTorch and ONNX, no GPU. The net stands on the frozen backbone that the program runs anyway and on measures by hand
(vision/damage/looks.py), both compared with what is usual on the same panel and with what lies about each place. It is
taught on places drawn from each panel, damaged ones and those that look like it before others, and answers on cells of 4
pixels: sound or one kind of damage, and what shows beneath. Panels are of part 'teach' (training/damage/parts.py).
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.damage.cells import to_cells, weights
from training.damage.kept import panels
from training.damage.make import Panel
from training.damage.match import on_grid
from vision.damage.kinds import KINDS, UNDER_WORDS
from vision.damage.looks import CHANNELS, looks
from vision.damage.net import places_of, prepared

#: Axes kept of the backbone's and the hand's measures, places about one whose mean it is told, widths of the net.
AXES, ABOUT, WIDTH = 112, 5, 224
#: Places a batch, weight of the second answer, averaging of weights, share of the net's middle left out while taught.
BATCH, UNDER_WEIGHT, FADE, LEFT_OUT = 384, 0.3, 0.998, 0.25
#: Places drawn a panel: damaged, on look-alikes, beside damage, anywhere sound.
DRAWN = (26, 10, 10, 16)


@dataclass(frozen=True, eq=False)
class Lesson:
    """Places drawn from a panel. `told`: (n, 3 * AXES) float16; `truth`: (n, 3, 2, 2) uint8 of each place's cells: kind, what
    shows beneath, weight in sixteenths."""

    told: NDArray[np.float16]
    truth: NDArray[np.uint8]


def seen(panel: Panel) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """(looks (CHANNELS, rows, cols), inside (rows, cols) bool) of a panel on places of 8 pixels."""
    picture, inside, _ = prepared(panel.pixels, np.ones(panel.labels.shape, bool))
    return looks(picture), places_of(inside, (picture.shape[0] // 8, picture.shape[1] // 8))


def truth_map(panel: Panel, shape: tuple[int, int]) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """((3, 2 rows, 2 cols) uint8 truth on cells, (rows, cols) bool look-alikes) for a panel of (rows, cols) places."""
    kinds, known = to_cells(on_grid(panel.labels))
    under, _ = to_cells(on_grid(panel.under))
    fools = np.zeros(kinds.shape, bool)
    for mask in panel.fools.values():
        fools |= to_cells(on_grid(mask.astype(np.uint8)))[0] > 0
    weight = weights(kinds, known, fools, np.ones(kinds.shape, bool))
    out = np.zeros((3, 2 * shape[0], 2 * shape[1]), np.uint8)
    out[:, : kinds.shape[0], : kinds.shape[1]] = np.stack([kinds, under, weight])
    return out, places_of(fools, shape)


def axes_of(samples: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(matrix (AXES, CHANNELS), offset (AXES,)): main axes of standardised looks (n, CHANNELS), each scaled to unit spread."""
    mean, spread = samples.mean(axis=0), samples.std(axis=0) + 1e-3
    _, values, axes = np.linalg.svd((samples - mean) / spread, full_matrices=False)
    matrix = axes[:AXES] / (values[:AXES, None] / np.sqrt(len(samples))) / spread
    return matrix.astype(np.float32), (-matrix @ mean).astype(np.float32)


def told_of(axes: NDArray[np.float32], inside: NDArray[np.bool_]) -> NDArray[np.float32]:
    """(3 * AXES, rows, cols): the axes, the same less the panel's mean over its spread, and the mean of that about each place;
    as the net does it (`export`)."""
    values = axes[:, inside]
    mean, spread = values.mean(axis=1), values.std(axis=1)
    usual = (axes - mean[:, None, None]) / (spread + 0.2)[:, None, None] * inside
    about = np.stack([cv2.blur(layer, (ABOUT, ABOUT), borderType=cv2.BORDER_CONSTANT) for layer in usual])
    return np.asarray(np.concatenate([axes * inside, usual, about]), np.float32)


def draw(
    truth: NDArray[np.uint8], fools: NDArray[np.bool_], inside: NDArray[np.bool_], rng: np.random.Generator
) -> NDArray[np.intp]:
    """(n, 2) rows and columns of places drawn from a panel; small regions as often as large ones come near to."""
    rows, cols = inside.shape
    kinds = truth[0].reshape(rows, 2, cols, 2).max(axis=(1, 3))
    known = truth[2].reshape(rows, 2, cols, 2).max(axis=(1, 3)) > 0
    heavy = truth[2].reshape(rows, 2, cols, 2).max(axis=(1, 3)).astype(float) ** 1.5
    hurt = (kinds > 0) & known
    near = (cv2.dilate(hurt.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & ~hurt & known & inside
    groups = (hurt, fools & ~hurt & known & inside, near, ~hurt & known & inside)
    chosen = []
    for mask, count in zip(groups, DRAWN, strict=True):
        at = np.argwhere(mask)
        if len(at):
            share = heavy[mask] if mask is hurt else np.ones(len(at))
            chosen.append(at[rng.choice(len(at), size=min(count, len(at)), replace=False, p=share / share.sum())])
    return np.concatenate(chosen) if chosen else np.zeros((0, 2), np.intp)


def make_net() -> Any:
    """(n, 3 * AXES, rows, cols) -> logits (n, 1 + kinds, 2 rows, 2 cols) and (n, under, 2 rows, 2 cols)."""
    import torch  # type: ignore[import-not-found]
    import torch.nn.functional as F  # type: ignore[import-not-found]
    from torch import nn

    class Net(nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.first = nn.Sequential(nn.Conv2d(3 * AXES, WIDTH, 1), nn.ReLU(), nn.Dropout(LEFT_OUT))
            self.second = nn.Sequential(nn.Conv2d(WIDTH, WIDTH, 1), nn.ReLU(), nn.Dropout(LEFT_OUT))
            self.last = nn.Conv2d(WIDTH, 4 * (1 + len(KINDS) + len(UNDER_WORDS)), 1)

        def forward(self, x: Any) -> tuple[Any, Any]:
            x = self.first(x)
            fine = F.pixel_shuffle(self.last(x + self.second(x)), 2)
            return fine[:, : 1 + len(KINDS)], fine[:, 1 + len(KINDS) :]

    torch.manual_seed(0)
    return Net()


def loss_of(found: tuple[Any, Any], truth: Any) -> Any:
    """Weighted cross-entropy of both answers; `truth` (n, 3, h, w) uint8."""
    import torch.nn.functional as F

    kinds, under = found
    wanted, beneath, weight = truth[:, 0].long(), truth[:, 1].long(), truth[:, 2].float() / 16
    main = (F.cross_entropy(kinds, wanted, reduction="none") * weight).sum() / weight.sum().clamp(min=1)
    shown = (beneath > 0).float()
    second = (F.cross_entropy(under, (beneath - 1).clamp(min=0), reduction="none") * shown).sum() / shown.sum().clamp(min=1)
    return main + UNDER_WEIGHT * second


def lessons(count: int, photos: Path, textures: Path | None) -> tuple[list[Lesson], NDArray[np.float32], NDArray[np.float32]]:
    """All lessons of the first `count` panels, and the (matrix, offset) of their axes, taken from the first 250 of them."""
    matrix, offset = np.zeros((0, 0), np.float32), np.zeros(0, np.float32)
    waiting: list[tuple[NDArray[np.float32], NDArray[np.bool_], NDArray[np.uint8], NDArray[np.bool_]]] = []
    out: list[Lesson] = []
    rng = np.random.default_rng(5)

    def finish() -> None:
        for raw, inside, truth, fools in waiting:
            rows, cols = inside.shape
            axes = (matrix @ raw.reshape(CHANNELS, -1) + offset[:, None]).reshape(AXES, rows, cols)
            told, at = told_of(axes, inside), draw(truth, fools, inside, rng)
            cells = truth.reshape(3, rows, 2, cols, 2).transpose(1, 3, 0, 2, 4)
            out.append(Lesson(told[:, at[:, 0], at[:, 1]].T.astype(np.float16), cells[at[:, 0], at[:, 1]]))
        waiting.clear()

    for number, panel in enumerate(panels("teach", count, photos, textures)):
        raw, inside = seen(panel)
        waiting.append((raw, inside, *truth_map(panel, (inside.shape[0], inside.shape[1]))))
        if number == min(250, count) - 1:
            samples = np.concatenate([r[:, i][:, rng.integers(int(i.sum()), size=40)].T for r, i, _, _ in waiting])
            matrix, offset = axes_of(samples)
        if len(matrix):
            finish()
    return out, matrix, offset


def teach(kept: list[Lesson], seconds: float) -> Any:
    """A net taught on lessons for `seconds` of processor time; its weights are averaged over the last steps."""
    import torch

    torch.set_num_threads(1)
    net = make_net()
    mean = {k: v.detach().clone() for k, v in net.state_dict().items()}
    optimiser = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=3e-2)
    told = torch.from_numpy(np.concatenate([k.told for k in kept]))
    truth = torch.from_numpy(np.concatenate([k.truth for k in kept]))
    generator = torch.Generator().manual_seed(6)
    begun, step, recent = time.process_time(), 0, 0.0
    while (done := (time.process_time() - begun) / seconds) < 1:
        for group in optimiser.param_groups:
            group["lr"] = 2e-3 * min(1.0, (step + 1) / 100) * (0.5 + 0.5 * float(np.cos(np.pi * done))) + 1e-5
        chosen = torch.randint(len(told), (BATCH,), generator=generator)
        loss = loss_of(net(told[chosen].float()[:, :, None, None]), truth[chosen])
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        fade = min(FADE, 1 - 10 / (10 + step))
        with torch.no_grad():
            for key, value in net.state_dict().items():
                mean[key].lerp_(value, 1 - fade)
        recent = 0.98 * recent + 0.02 * float(loss.detach()) if step else float(loss.detach())
        if step % 500 == 0:
            print(f"{time.process_time() - begun:6.1f} s  step {step}  of {len(told)} places  loss {recent:.4f}", flush=True)
        step += 1
    net.load_state_dict(mean)
    return net.eval()


def export(net: Any, matrix: NDArray[np.float32], offset: NDArray[np.float32], path: Path) -> None:
    """Write axes, comparison with the panel and net as one ONNX file with free size; large weights as half floats."""
    import onnx
    import torch
    from onnx import numpy_helper

    class Answers(torch.nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.net = net.float().eval()
            self.axes = torch.nn.Conv2d(CHANNELS, AXES, 1)
            self.axes.weight.data = torch.from_numpy(matrix)[:, :, None, None]
            self.axes.bias.data = torch.from_numpy(offset)

        def forward(self, looks: Any, inside: Any) -> Any:
            axes = self.axes(looks)
            count = inside.sum(dim=(2, 3), keepdim=True)
            mean = (axes * inside).sum(dim=(2, 3), keepdim=True) / count
            spread = torch.sqrt((((axes - mean) * inside) ** 2).sum(dim=(2, 3), keepdim=True) / count)
            usual = (axes - mean) / (spread + 0.2) * inside
            about = torch.nn.functional.avg_pool2d(usual, ABOUT, 1, ABOUT // 2, count_include_pad=True)
            kinds, under = self.net(torch.cat([axes * inside, usual, about], dim=1))
            return torch.softmax(kinds, dim=1), torch.softmax(under, dim=1)

    names = ["looks", "inside"]
    given = (torch.zeros(1, CHANNELS, 40, 56), torch.ones(1, 1, 40, 56))
    free = {name: {2: f"{name}_rows", 3: f"{name}_columns"} for name in (*names, "kinds", "under")}
    torch.onnx.export(
        Answers(),
        given,
        str(path),
        input_names=names,
        output_names=["kinds", "under"],
        dynamic_axes=free,
        opset_version=17,
        dynamo=False,
    )
    model = onnx.load(str(path))
    casts = []
    for held in list(model.graph.initializer):
        values = numpy_helper.to_array(held)
        if values.dtype != np.float32 or values.size < 512 or values.shape[:2] == (AXES, CHANNELS):
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
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path, default=Path("build/textures"))
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--panels", type=int, default=2000)
    parser.add_argument("--seconds", type=float, default=120.0, help="processor time to teach for")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    args.out.mkdir(parents=True, exist_ok=True)
    begun = time.monotonic()
    kept, matrix, offset = lessons(args.panels, args.photos, args.textures)
    print(f"{len(kept)} lessons in {time.monotonic() - begun:.0f} s", flush=True)
    net = teach(kept, args.seconds)
    export(net, matrix, offset, args.out / "damage.onnx")


if __name__ == "__main__":
    main()

"""Teach the panel net on rendered panels, then on real ones, once without each fold of authors and once with all.

    python -m training.panel_net --real build/net/real.npz [--rendered FILE.npz ...] --weights build/net/lite0.npz --out DIR
        [--size 0] [--seconds-rendered 150] [--seconds-fold 30] [--folds 8] [--only-folds 0 1]

Needs PyTorch and a GPU. `--real` and `--rendered` are packs of `training.panel_crops`; `--weights` is what
`training.panel_net_layers.keep_published` wrote of the published weights. Into DIR go `panel_net.onnx` (large weights as half
floats) and `net_answers.npz`: logits of every real panel by the net of the fold that never saw its author, and by the final net.

    python -m training.panel_net --judge FILE.npz ... --out DIR               # what the taught net says of further packs
    python -m training.panel_net --folds-as-onnx --out DIR                    # panel_net_fold_K.onnx of the folds' nets
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

import numpy as np

from training.half_onnx import halve
from training.panel_crops import KEPT, Pack
from vision.inference.model import TARGETS
from vision.looks import SIDE
from vision.panel_net import CROPS

BATCH, REAL_SHARE, RATE, DECAY, FADE = 48, 0.6, 4e-4, 3e-2, 0.998
#: What each question counts; a hidden core says a little about how cores look.
FACTORS = {"face": 1.0, "core": 0.6, "view": 0.4, "core_visible": 0.3}
HIDDEN_CORE = 0.05


class Held:
    """A pack on the device. `crops` (n, crops, KEPT, KEPT, 4) uint8; `labels` target -> (n,); `weight`, `fold` (n,)."""

    def __init__(self, pack: Pack, device: str) -> None:
        import torch  # type: ignore[import-not-found]

        n = len(pack.ids)
        self.device, self.ids, self.groups = device, pack.ids, pack.groups
        self.crops = torch.empty((n, len(CROPS), KEPT, KEPT, 4), dtype=torch.uint8, device=device)
        for low in range(0, n, 256):
            at = np.arange(low, min(n, low + 256))
            self.crops[low : low + len(at)] = torch.from_numpy(_pixels(pack, at)).to(device)
        self.labels = {t: torch.from_numpy(pack.labels[t]).to(device) for t in TARGETS}
        self.weight = torch.from_numpy(pack.weight).to(device)
        self.fold = pack.fold

    def chances(self, use: Any) -> Any:
        """(n,) chance of drawing each row: classes and views evened out half way."""
        import torch

        key = self.labels["face"] * 5 + self.labels["view"] + 6
        base = self.weight.clamp(min=1e-3).sqrt() * use
        total = torch.zeros(int(key.max()) + 1, device=self.device).index_add_(0, key, base)
        return base / total[key].clamp(min=1e-6) ** 0.6


def _pixels(pack: Pack, at: Any) -> Any:
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(12) as pool:
        return np.concatenate(list(pool.map(lambda i: pack.pixels([i]), at.tolist())))


def loss_of(found: dict[str, Any], labels: dict[str, Any], weight: Any) -> Any:
    """Weighted sum of the questions' losses; labels of -1 do not count."""
    import torch
    import torch.nn.functional as F  # type: ignore[import-not-found]

    total = found["face"].sum() * 0
    for target, factor in FACTORS.items():
        each = F.cross_entropy(found[target].float(), labels[target].clamp(min=0), reduction="none", label_smoothing=0.05)
        w = weight * (labels[target] >= 0)
        if target == "core":
            w = w * torch.where(labels["core_visible"] == 0, 1.0, HIDDEN_CORE)
        total = total + factor * (each * w).sum() / w.sum().clamp(min=1e-3)
    return total


def teach(
    net: Any, parts: list[tuple[Held, Any, int]], seconds: float, rate: float, seed: int, words: str, most: int = 10**9
) -> Any:
    """Teach for `seconds` on batches of `parts` (rows, chance of each, how many a batch); the running mean of weights is kept."""
    import torch

    from training.edge_net import Mean
    from training.panel_net_light import disturbed

    device = parts[0][0].device
    generator = torch.Generator(device=device).manual_seed(seed)
    torch.manual_seed(seed)
    heads = [p for n, p in net.named_parameters() if not n.startswith("trunk")]
    trunk = list(net.trunk.parameters())
    groups = [{"params": [p for p in trunk if p.ndim > 1], "factor": 1.0, "weight_decay": DECAY},
              {"params": [p for p in trunk if p.ndim <= 1], "factor": 1.0, "weight_decay": 0.0},
              {"params": heads, "factor": 4.0, "weight_decay": DECAY}]
    optimiser = torch.optim.AdamW(groups, lr=rate)
    mean, begun, step, told = Mean(net), time.monotonic(), 0, 0.0
    net.train()
    while (done := max((time.monotonic() - begun) / seconds, step / most)) < 1:
        for g in optimiser.param_groups:
            g["lr"] = g["factor"] * rate * min(1.0, (step + 1) / 80) * (0.5 + 0.5 * float(np.cos(np.pi * done))) + 1e-7
        rows = [torch.multinomial(chance, k, True, generator=generator) for _, chance, k in parts]
        crops = torch.cat([h.crops[r] for (h, _, _), r in zip(parts, rows, strict=True)])
        labels = {t: torch.cat([h.labels[t][r] for (h, _, _), r in zip(parts, rows, strict=True)]) for t in TARGETS}
        weight = torch.cat([h.weight[r].clamp(min=0.05).sqrt() for (h, _, _), r in zip(parts, rows, strict=True)])
        with torch.no_grad():
            x = disturbed(crops, generator).contiguous()
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            found = net(x)
        loss = loss_of(found, labels, weight)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        mean.add(net, FADE)
        step += 1
        if step == 1:
            begun = time.monotonic()  # the first step finds its algorithms, up to a minute of it: not part of the lesson
        if time.monotonic() - told > 15:
            told = time.monotonic()
            print(f"{words}: {told - begun:5.1f} s  step {step}  loss {float(loss.detach()):.3f}", flush=True)
    net.load_state_dict(mean.kept)
    net.eval()
    print(f"{words}: {step} steps of {sum(k for _, _, k in parts)}, {time.monotonic() - begun:.0f} s", flush=True)
    return net


def answers(net: Any, held: Held, rows: Any) -> dict[str, Any]:
    """Logits of some rows by target, float32 arrays."""
    import torch

    from training.panel_net_light import as_read

    out: dict[str, list[Any]] = {t: [] for t in TARGETS}
    for low in range(0, len(rows), 64):
        at = torch.as_tensor(np.asarray(rows[low : low + 64]), device=held.device)
        with torch.no_grad(), torch.autocast(held.device, dtype=torch.bfloat16, enabled=held.device == "cuda"):
            found = net(as_read(held.crops[at]))
        for t in TARGETS:
            out[t].append(found[t].float().cpu().numpy())
    return {t: np.concatenate(v) if v else np.zeros((0, len(TARGETS[t])), np.float32) for t, v in out.items()}


def export(net: Any, path: Path) -> None:
    """Write the net as ONNX for one panel: logits by target and the faces' evidence by place."""
    import torch

    class Answers(torch.nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.net = net.float().cpu().eval()

        def forward(self, crops: Any) -> Any:
            found = self.net(crops[None], maps=True)
            return (*(found[t][0] for t in TARGETS), found["face_map"][0])

    torch.onnx.export(Answers().eval(), (torch.zeros(len(CROPS), 4, SIDE, SIDE),), str(path), input_names=["crops"],
                      output_names=[*TARGETS, "face_map"], opset_version=17, dynamo=False)
    halve(path)


def run(chosen: Any) -> None:
    """All of it."""
    import torch

    from training.panel_net_layers import PanelNet, load_published, read_published

    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.backends.cudnn.benchmark, torch.backends.cudnn.benchmark_limit = True, 4
    chosen.out.mkdir(parents=True, exist_ok=True)
    begun = time.monotonic()
    real = Held(Pack.load(chosen.real), device)
    made = [Held(Pack.load(p), device) for p in chosen.rendered]
    print(f"{time.monotonic() - begun:.0f} s  {len(real.ids)} real, {[len(m.ids) for m in made]} rendered panels", flush=True)
    net = PanelNet(chosen.size).to(device).to(memory_format=torch.channels_last)
    load_published(net.trunk, read_published(chosen.weights))
    whole = lambda h: torch.ones(len(h.ids), device=device)  # noqa: E731 - one line, used twice
    if made:
        sizes = np.array([len(m.ids) for m in made])
        each = [max(1, round(chosen.batch * float(s) / float(sizes.sum()))) for s in sizes]
        teach(net, [(m, m.chances(whole(m)), k) for m, k in zip(made, each, strict=True)], chosen.seconds_rendered, RATE, 1,
              "rendered", chosen.steps)
    torch.save({k: v.half() for k, v in net.state_dict().items()}, chosen.out / "base.pt")
    base = {k: v.clone() for k, v in net.state_dict().items()}
    kept: dict[str, Any] = {"ids": real.ids, "fold": real.fold}
    held = {t: np.full((len(real.ids), len(c)), np.nan, np.float32) for t, c in TARGETS.items()}
    everything = np.arange(len(real.ids))
    kept |= {f"base_{t}": v for t, v in answers(net, real, everything).items()}
    folds = list(chosen.only_folds if chosen.only_folds is not None else range(int(real.fold.max()) + 1))
    n_real = round(chosen.batch * (REAL_SHARE if made else 1.0))
    for fold in folds if chosen.only_folds is not None else [None, *folds]:
        if time.monotonic() - begun > chosen.until:
            print(f"time is up before fold {fold}", flush=True)
            break
        net.load_state_dict(base)
        use = torch.from_numpy(np.asarray(real.fold != (-2 if fold is None else fold), np.float32)).to(device)
        parts = [(real, real.chances(use), n_real)]
        if made:
            rest = chosen.batch - n_real
            parts += [(m, m.chances(whole(m)), max(1, round(rest * k / sum(each)))) for m, k in zip(made, each, strict=True)]
        teach(net, parts, chosen.seconds_fold, chosen.rate_real, 100 + (99 if fold is None else fold), f"without fold {fold}",
              chosen.steps)
        if fold is not None:
            rows = np.flatnonzero(real.fold == fold)
            for t, v in answers(net, real, rows).items():
                held[t][rows] = v
            torch.save({k: v.half() for k, v in net.state_dict().items()}, chosen.out / f"fold_{fold}.pt")
        else:
            kept |= {f"final_{t}": v for t, v in answers(net, real, everything).items()}
            torch.save({k: v.half() for k, v in net.state_dict().items()}, chosen.out / "final.pt")
            export(net, chosen.out / "panel_net.onnx")
            net.to(device)
        kept |= {f"held_{t}": v for t, v in held.items()}
        np.savez_compressed(chosen.out / "net_answers.npz", **kept)
    print(f"{time.monotonic() - begun:.0f} s in all", flush=True)


def judge(chosen: Any) -> None:
    """Answers of a taught net (`final.pt` in the folder) on the packs to judge, into `judged_NAME.npz` each."""
    import torch

    from training.panel_net_layers import PanelNet

    device = "cuda" if torch.cuda.is_available() else "cpu"
    net = PanelNet(chosen.size)
    net.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in torch.load(chosen.out / "final.pt").items()})
    net = net.to(device).to(memory_format=torch.channels_last).eval()
    for path in chosen.judge:
        held = Held(Pack.load(path), device)
        found: dict[str, Any] = answers(net, held, np.arange(len(held.ids)))
        np.savez_compressed(chosen.out / f"judged_{path.stem}.npz", ids=held.ids, **found)
        print(f"{len(held.ids)} panels of {path.name} answered", flush=True)


def folds_as_onnx(chosen: Any) -> None:
    """Every `fold_K.pt` of the folder as `panel_net_fold_K.onnx`."""
    import torch

    from training.panel_net_layers import PanelNet

    for path in sorted(chosen.out.glob("fold_*.pt")):
        net = PanelNet(chosen.size)
        kept = torch.load(path, map_location="cpu")
        net.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in kept.items()})
        export(net, chosen.out / f"panel_net_{path.stem}.onnx")
        print(f"{path.stem} written", flush=True)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--real", type=Path)
    parser.add_argument("--rendered", type=Path, nargs="*", default=[])
    parser.add_argument("--judge", type=Path, nargs="*", default=[], help="teach nothing: the net in --out answers these packs")
    parser.add_argument("--folds-as-onnx", action="store_true", help="teach nothing: write the folds' nets in --out as ONNX")
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--size", type=int, default=0)
    parser.add_argument("--batch", type=int, default=BATCH)
    parser.add_argument("--seconds-rendered", type=float, default=150.0)
    parser.add_argument("--seconds-fold", type=float, default=30.0)
    parser.add_argument("--rate-real", type=float, default=3e-4)
    parser.add_argument("--steps", type=int, default=10**9, help="most steps of each lesson")
    parser.add_argument("--until", type=float, default=float("inf"), help="begin no further lesson after so many seconds")
    parser.add_argument("--only-folds", type=int, nargs="*", help="a trial: these folds only, no final net")
    chosen = parser.parse_args()
    if chosen.judge:
        judge(chosen)
        return
    if chosen.folds_as_onnx:
        folds_as_onnx(chosen)
        return
    if chosen.real is None or chosen.weights is None:
        parser.error("teaching needs --real and --weights")
    run(chosen)


if __name__ == "__main__":
    main()

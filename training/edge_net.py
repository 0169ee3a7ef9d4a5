"""Teach the edge net on made edges, then once more with real ones; measure the edges kept aside on the way.

    python -m training.edge_net --pack FOLDER --photos DIR                 # here: figure and real edges, small
    python -m training.edge_net --packed FOLDER --out DIR --seconds 330    # where PyTorch and a GPU are

Pictures are drawn by processes of their own while the net learns from those there are. Parts of `training.edges.sets`: 'teach'
(the net, the rules by hand), 'stage' (how the two are joined), 'report' (scores). Real edges join at the end; nets that saw
none of a fold of photographers answer for that fold. Face figure by photographers of real edges is left out of what is taught.
Rows of all parts come back as `training.edge_rows` keeps them: put them into its cache folder.
"""

from __future__ import annotations

import argparse
import gzip
import pickle
import queue
import threading
import time
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from training.composites.figures import Figure
from training.edge_pack import load_pack, write_pack
from training.edge_rows import Row, fold_of_group, measured, row_of
from training.edges.examples import Example
from training.edges.make import make_edge, make_views
from training.edges.sets import FIRST_SEED, PER_KIND, Trial, plan
from training.half_onnx import halve
from vision.edges.canvas import BESIDE, LONG, TALL, TOLD, WIDE
from vision.edges.kinds import STRIP_KINDS
from vision.edges.net import as_answer

BATCH, HELD, REAL_IN_BATCH = 192, 60000, 20
#: Share of the taught pictures that rules by hand are fitted on whose numbers are measured too.
MEASURED = 0.4
#: Views of every taught board, outlines a little wrong of each.
VIEWS, OUTLINES = 3, 2
FOLDS = 4
FACTORS = {"kind": 1.0, "asks": 1.0, "build": 0.3, "maps": 2.0}


def jobs(worker: int, workers: int, per_kind: dict[str, int]) -> Any:
    """(part, trial) of a worker: what is kept aside and what is taught in turn."""
    aside = [(p, t) for p in ("report", "stage") for t in plan(p, per_kind[p])]
    aside = aside[worker::workers]
    taught = [("teach", t) for t in plan("teach", per_kind["teach"])][worker::workers]
    for k, job in enumerate(taught):
        yield job
        if k % 3 and aside:
            yield aside.pop(0)


def _produce(packed: Path, worker: int, workers: int, per_kind: dict[str, int], out: Any, stop: Any) -> None:
    cv2.setNumThreads(1)
    figures = {part: load_pack(packed, part) for part in ("teach", "stage", "report")}
    for part, trial in jobs(worker, workers, per_kind):
        if stop.is_set():
            break
        out.put(_one(part, trial, figures[part]))


def _one(part: str, trial: Trial, figures: list[Figure]) -> tuple[str, Trial, Row | None, list[Example]]:
    if part != "teach":
        picture = make_edge(trial.name, trial.setting, trial.seed, figures)
        return part, trial, row_of(picture, canvas=True), []
    views = make_views(trial.name, trial.setting, trial.seed, figures, VIEWS)
    row = None
    if trial.seed < FIRST_SEED["teach"] + PER_KIND["teach"]:
        row = row_of(views[0], by_hand=bool(np.random.default_rng([trial.seed, 3]).random() < MEASURED))
    return part, trial, row, [e for v in views for e in measured(v, OUTLINES)]


def reading_ahead(made: Any, room: int = 400) -> Any:
    """A queue of this process that a thread fills from the makers' queue. Asking theirs without waiting gives about one
    message a step, however quick the makers are: the next is only begun when the last has left the pipe."""
    ready: queue.Queue[Any] = queue.Queue(room)

    def read() -> None:
        while True:
            ready.put(made.get())

    threading.Thread(target=read, daemon=True).start()
    return ready


class Store:
    """A ring of examples on the device."""

    def __init__(self, size: int, device: str) -> None:
        import torch  # type: ignore[import-not-found]

        from training.edges.examples import KEPT_WIDE

        self.size, self.seen, self.device = size, 0, device
        self.strip = torch.zeros(size, 3, TALL, KEPT_WIDE, dtype=torch.uint8, device=device)
        self.arris = torch.zeros(size, 3, 2 * BESIDE, LONG, dtype=torch.uint8, device=device)
        self.told = torch.zeros(size, TOLD, device=device)
        self.answers = torch.zeros(size, 5, dtype=torch.long, device=device)
        self.maps = torch.zeros(size, 2, TALL, dtype=torch.uint8, device=device)
        self.asked = torch.zeros(size, 2, device=device)

    def add(self, e: Example) -> None:
        """Take in one example, in place of the oldest when full."""
        import torch

        k = self.seen % self.size
        self.strip[k] = torch.from_numpy(np.ascontiguousarray(e.strip.transpose(2, 0, 1))).to(self.device)
        self.arris[k] = torch.from_numpy(np.ascontiguousarray(e.arris.transpose(2, 0, 1))).to(self.device)
        self.told[k], self.answers[k] = torch.from_numpy(e.told).to(self.device), torch.from_numpy(e.answers).to(self.device)
        self.maps[k], self.asked[k] = torch.from_numpy(e.maps).to(self.device), torch.from_numpy(e.asked).to(self.device)
        self.seen += 1

    @property
    def filled(self) -> int:
        return min(self.seen, self.size)


def batch_of(parts: list[tuple[Store, Any]], generator: Any) -> tuple[Any, ...]:
    """(strip, arris, told, answers, maps, asked) of the chosen rows of stores, windows and light at random."""
    import torch

    from training.edge_net_layers import disturbed

    s, a, t, y, m, q = (torch.cat([getattr(store, n)[k] for store, k in parts])
                        for n in ("strip", "arris", "told", "answers", "maps", "asked"))
    room = s.shape[3] - WIDE
    start = torch.randint(room + 1, (len(s), 1), generator=generator, device=s.device)
    at = (start + torch.arange(WIDE, device=s.device)[None])[:, None, None].expand(-1, 3, TALL, -1)
    strip, arris = disturbed(torch.gather(s, 3, at).float(), a.float(), generator)
    return strip, arris, t + 0.05 * torch.randn(t.shape, generator=generator, device=t.device), y, m.float() / 255, q


def loss_of(found: tuple[Any, ...], y: Any, maps: Any, asked: Any) -> dict[str, Any]:
    """Every part of the loss; answers of -1 do not count."""
    import torch.nn.functional as F  # type: ignore[import-not-found]

    kind, asks, build, lines = (f.float() for f in found)
    wanted, known = y[:, 1:4].float(), (y[:, 1:4] >= 0).float()
    each = F.binary_cross_entropy_with_logits(asks, wanted.clamp(min=0), reduction="none") * known
    rows = F.binary_cross_entropy_with_logits(lines, maps, reduction="none") * (1 + 4 * maps) * asked[..., None]
    return {"kind": F.cross_entropy(kind, y[:, 0], label_smoothing=0.02), "asks": (each.sum(0) / known.sum(0).clamp(min=1)).sum(),
            "build": F.cross_entropy(build, y[:, 4], ignore_index=-1) if bool((y[:, 4] >= 0).any()) else build.sum() * 0,
            "maps": rows.sum() / (asked.sum() * TALL).clamp(min=1)}


class Mean:
    """Running mean of a net's weights."""

    def __init__(self, net: Any) -> None:
        self.kept = {k: v.detach().clone() for k, v in net.state_dict().items()}
        self.steps = 0

    def add(self, net: Any, fade: float = 0.996) -> None:
        import torch

        self.steps += 1
        fade = min(fade, 1 - 10 / (10 + self.steps))
        with torch.no_grad():
            for k, v in net.state_dict().items():
                if v.dtype.is_floating_point:
                    self.kept[k].lerp_(v, 1 - fade)
                else:
                    self.kept[k].copy_(v)


def steps(net: Any, mean: Mean, choose: Any, rate: float, share: Any, pump: Any, generator: Any, device: str) -> None:
    """Teach until `share()` of the time reaches 1; `pump(step, parts)` is called at every step."""
    import torch

    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=2e-2)
    step = 0
    net.train()
    while (done := share()) < 1:
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1.0, (step + 1) / 60) * (0.5 + 0.5 * float(np.cos(np.pi * done))) + 1e-6
        with torch.no_grad():
            strip, arris, told, y, maps, asked = batch_of(choose(), generator)
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            found = net(strip.contiguous(memory_format=torch.channels_last), arris, told)
        parts = loss_of(found, y, maps, asked)
        optimiser.zero_grad(set_to_none=True)
        sum(FACTORS[k] * v for k, v in parts.items()).backward()  # type: ignore[union-attr, unused-ignore]
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        mean.add(net)
        step += 1
        pump(step, parts, float((found[0].argmax(1) == y[:, 0]).float().mean()) if step % 100 == 0 else None)
    net.load_state_dict(mean.kept)
    net.eval()


def answered(net: Any, rows: list[Row], device: str) -> list[Any]:
    """The net's answers for rows that hold their canvas."""
    import torch

    from vision.edges.canvas import as_input

    out: list[Any] = []
    net.eval()
    for start in range(0, len(rows), 128):
        some = [r.canvas for r in rows[start:start + 128] if r.canvas is not None]
        with torch.no_grad():
            given = [torch.from_numpy(np.stack([f(c) for c in some])).to(device) for f in
                     (lambda c: as_input(c.strip), lambda c: as_input(c.arris), lambda c: c.told)]
            kind, asks, _, maps = (v.float().cpu().numpy() for v in net(*given))
        maps = 1 / (1 + np.exp(-maps))
        out += [as_answer(k, a, m, c.first, c.last) for k, a, m, c in zip(kind, asks, maps, some, strict=True)]
    return out


def export(net: Any, path: Path) -> None:
    """Write the net as ONNX, its large weights as half floats; maps come out as 0..1."""
    import torch

    class Answers(torch.nn.Module):  # type: ignore[misc, unused-ignore]
        def __init__(self) -> None:
            super().__init__()
            self.net = net.float().cpu().eval()

        def forward(self, strip: Any, arris: Any, told: Any) -> Any:
            kind, asks, _, maps = self.net(strip, arris, told)
            return kind, asks, torch.sigmoid(maps)

    given = torch.zeros(1, 3, TALL, WIDE), torch.zeros(1, 3, 2 * BESIDE, LONG), torch.zeros(1, TOLD)
    torch.onnx.export(Answers(), given, str(path), input_names=["strip", "arris", "told"],
                      output_names=["kind", "asks", "maps"], opset_version=17, dynamo=False)
    halve(path)


def keep(rows: dict[str, Row | None], path: Path) -> None:
    """Rows by file name, without their canvases."""
    path.write_bytes(gzip.compress(pickle.dumps({k: None if r is None else r.slim() for k, r in rows.items()}), 4))


def run(packed: Path, out: Path, seconds: float, workers: int, per_kind: dict[str, int], device: str = "cuda") -> None:
    """All of it, within `seconds`."""
    import torch

    from training.edge_net_layers import EdgeNet

    begun = time.monotonic()
    clock = lambda: time.monotonic() - begun  # noqa: E731
    context = get_context("spawn")
    made, stop = context.Queue(400), context.Event()
    makers = [context.Process(target=_produce, args=(packed, k, workers, per_kind, made, stop), daemon=True)
              for k in range(workers)]
    for m in makers:
        m.start()
    torch.manual_seed(1)
    torch.backends.cudnn.benchmark = True
    generator = torch.Generator(device=device).manual_seed(1)
    store = Store(HELD if device == "cuda" else 200, device)
    rows: dict[str, dict[str, Row | None]] = {"teach": {}, "stage": {}, "report": {}}

    seen, ready = [0], reading_ahead(made)

    def take(wait: float) -> bool:
        try:
            part, trial, row, examples = ready.get(block=wait > 0, timeout=wait)
        except queue.Empty:
            return False
        if part != "teach" or trial.seed < FIRST_SEED["teach"] + PER_KIND["teach"]:
            rows[part][trial.key] = row
        seen[0] += 1
        for e in examples:
            store.add(e)
        return True

    while store.seen < (1500 if device == "cuda" else 30):
        take(60.0)
    print(f"{clock():.0f} s  started with {store.seen}", flush=True)
    until, drawing, start = 0.72 * seconds, 0.68 * seconds, clock()
    told = [0.0]

    def pump(step: int, parts: dict[str, Any], right: float | None) -> None:
        if clock() < drawing:
            for _ in range(24):
                if not take(0.0):
                    break
        elif not stop.is_set():
            stop.set()
        if right is not None and clock() - told[0] > 12:
            told[0] = clock()
            losses = "  ".join(f"{k} {float(v.detach()):.3f}" for k, v in parts.items())
            print(f"{clock():6.1f} s  step {step}  boards {seen[0]}  examples {store.seen}  rows "
                  f"{ {k: len(v) for k, v in rows.items()} }  right {right:.2f}  {losses}", flush=True)

    net = EdgeNet(len(STRIP_KINDS)).to(device).to(memory_format=torch.channels_last)
    some = lambda n: torch.randint(store.filled, (n,), generator=generator, device=device)  # noqa: E731
    steps(net, Mean(net), lambda: [(store, some(BATCH if device == "cuda" else 8))], 2e-3,
          lambda: (clock() - start) / max(until - start, 1.0), pump, generator, device)
    stop.set()
    while any(m.is_alive() for m in makers) and clock() < until + 20:  # a reader must not stop in the middle of a message
        take(0.3)
    while take(0.3):
        pass
    for part in rows:
        print(part, len(rows[part]), flush=True)
    torch.save(net.state_dict(), out / "made_only.pt")
    real = load_pack(packed, "real")
    alone = answered(net, [r for r, _ in real], device)
    held: list[Any] = [None] * len(real)
    fold = [fold_of_group(r.group) for r, _ in real]
    base = {k: v.clone() for k, v in net.state_dict().items()}
    each = (0.93 * seconds - clock()) / (FOLDS + 1)
    for left_out in (*range(FOLDS), None):
        shown = [k for k in range(len(real)) if fold[k] != left_out]
        reals = Store(len(shown) * 2, device)
        for k in shown:
            for e in real[k][1]:
                reals.add(e)
        kinds = reals.answers[:reals.seen, 0]
        chance = 1 / torch.bincount(kinds, minlength=len(STRIP_KINDS)).float()[kinds] ** 0.5
        net.load_state_dict(base)
        start = clock()

        def choose(reals: Store = reals, chance: Any = chance) -> list[tuple[Store, Any]]:
            return [(store, some(BATCH - REAL_IN_BATCH if device == "cuda" else 6)),
                    (reals, torch.multinomial(chance, REAL_IN_BATCH, True, generator=generator))]

        steps(net, Mean(net), choose, 4e-4, lambda start=start: (clock() - start) / each, lambda *_: None, generator, device)
        if left_out is not None:
            index = [k for k in range(len(real)) if fold[k] == left_out]
            for k, answer in zip(index, answered(net, [real[k][0] for k in index], device), strict=True):
                held[k] = answer
    print(f"{clock():.0f} s  taught", flush=True)
    export(net, out / "edges.onnx")
    net.to(device)
    for part in ("stage", "report"):
        known = {n: r for n, r in rows[part].items() if r is not None}
        for (name, row), answer in zip(known.items(), answered(net, list(known.values()), device), strict=True):
            rows[part][name] = row.with_net(answer)
        keep(rows[part], out / f"rows_{part}.gz")
    names = sorted(rows["teach"])
    for half in range(2):
        keep({n: rows["teach"][n] for n in names[half::2]}, out / f"rows_teach_{half}.gz")
    whole = [(r.with_net(h).slim(), a) for (r, _), h, a in zip(real, held, alone, strict=True)]
    (out / "rows_real.gz").write_bytes(gzip.compress(pickle.dumps(whole)))
    print(f"{clock():.0f} s  done", flush=True)
    for m in makers:
        m.terminate()


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pack", type=Path, help="folder to write figure and real edges to")
    parser.add_argument("--photos", type=Path)
    parser.add_argument("--packed", type=Path)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--seconds", type=float, default=330.0)
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--small", action="store_true", help="a few pictures, to try it")
    args = parser.parse_args()
    if args.pack is not None:
        write_pack(args.pack, args.photos)
        return
    args.out.mkdir(parents=True, exist_ok=True)
    per_kind = {"teach": 4, "stage": 1, "report": 1} if args.small else {**PER_KIND, "teach": 3000}
    run(args.packed, args.out, args.seconds, args.workers, per_kind, args.device)


if __name__ == "__main__":
    main()

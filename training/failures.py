"""Write docs/failures.md and its picture: where the classifier is surest and wrong, and what spoke for the wrong answer.

    python -m training.failures --renders DIR --photos DIR

Every panel is judged by a classifier that never saw its author or piece, as in docs/accuracy.md. Pictures come from our own
renders alone; of real photographs only words and the collection's own numbers are told.
"""

# ruff: noqa: E501  (sentences of a document)
from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.accuracy import DOCUMENT, PICTURES
from training.config_file import Config, load_config
from training.experts import Array
from training.fit import fit
from training.heldout import verdicts
from training.panel_facts import KINDS, Facts, real_facts, rendered_facts
from training.stacking import author_folds
from training.tables import CUES, Table
from training.teach import load_tables
from vision.inference import evidence
from vision.inference.joint import FACES
from vision.resize import resize

PICTURE = "failures.jpg"
MOST_BYTES = 250_000
SHOWN, PER_PAIR = 8, 2
SURE = (0.9, 0.7)
TILE, COLUMNS, STRIP = (300, 400), 4, 26
WORDS = {"solid_wood": "solid wood", "veneer": "veneer", "printed": "print", "opaque": "paint", "bare_board": "raw board", "not_wood": "no furniture board"}
#: (truth, said) -> what the two share, so that one can pass for the other.
SHARED = {
    ("printed", "solid_wood"): "the printed figure is a picture of the same wood, and neither its repeat nor its edge is seen as such here",
    ("printed", "veneer"): "both show a sheet of figure; only ink, repeat or edge tells them apart, and none is resolved here",
    ("veneer", "solid_wood"): "it is the same real wood; only an edge, an end or matched leaves could tell, and none was read as such here",
    ("solid_wood", "veneer"): "one even board looks like one leaf; its end or edge, which would tell, was not read as such here",
    ("solid_wood", "printed"): "even colour and plain figure look inked at this scale",
    ("veneer", "printed"): "even colour and plain figure look inked at this scale",
    ("bare_board", "solid_wood"): "at this size its particles or fibres are not resolved, and it has the colours of plain wood",
    ("bare_board", "veneer"): "at this size its particles or fibres are not resolved, and it has the colours of plain wood",
    ("opaque", "not_wood"): "one flat colour is as good as a wall's or metal's",
    ("not_wood", "opaque"): "a wall or metal of one flat colour is as good as paint",
    ("opaque", "bare_board"): "a dull brown or grey coat is as flat as raw fibreboard",
    ("bare_board", "opaque"): "raw fibreboard is as flat as a dull coat",
    ("bare_board", "not_wood"): "an even raw board is as flat as a wall or card",
    ("not_wood", "solid_wood"): "what stands or lies in the room carries a picture of wood, or is wood (a floor)",
    ("not_wood", "veneer"): "what stands or lies in the room carries a picture of wood, or is wood (a floor)",
    ("opaque", "solid_wood"): "the coat's colour and streaks are like wood's",
}


@dataclass(frozen=True, eq=False)
class Judged:
    """Of n panels: probabilities of faces, what was decided, and terms (n, experts, faces) in nats that made them."""

    face: Array
    decided: NDArray[np.bool_]
    terms: Array


def _fold(job: tuple[Table, Table | None, Config, NDArray[np.bool_], NDArray[np.bool_] | None]) -> list[Judged]:
    real, rendered, config, test, test_rendered = job
    fitted = fit(real.rows(~test), None if rendered is None else rendered.rows(~test_rendered), config)  # type: ignore[operator]
    out = []
    for table, rows in ((real, test), (rendered, test_rendered)):
        if table is None or rows is None:
            continue
        unseen = table.rows(rows)
        said = verdicts(fitted, fitted.answers(unseen, config), unseen, config)
        keep = evidence.trust(fitted.distance(unseen, config), fitted.limit)
        terms = evidence.terms(fitted.log_probs(unseen, config, "face"), fitted.weights["face"]) * keep[:, None, None]
        out.append(Judged(said.answers.face, said.decided, terms))
    return out


def judge(real: Table, rendered: Table | None, config: Config, workers: int = 2) -> list[Judged]:
    """Real and rendered panels, each by a classifier that never saw its author or piece; the folds of `heldout`."""
    tables = [real] if rendered is None else [real, rendered]
    folds = [list(author_folds(t.author, t.face, config.outer_folds, config.seed + 1)) for t in tables]
    jobs = [(real, rendered, config, folds[0][k], None if rendered is None else folds[1][k]) for k in range(config.outer_folds)]
    with ProcessPoolExecutor(max_workers=workers) as pool:
        found = list(pool.map(_fold, jobs))
    out = []
    for at, table in enumerate(tables):
        parts = [np.flatnonzero(f) for f in folds[at]]
        order = np.argsort(np.concatenate(parts), kind="stable")
        whole = [np.concatenate([getattr(f[at], name) for f in found])[order] for name in ("face", "decided", "terms")]
        assert len(order) == len(table)
        out.append(Judged(*whole))
    return out


def mistakes(table: Table, said: Judged, least: float = 0.0) -> NDArray[np.intp]:
    """Rows of labelled faces whose leading face is wrong at `least` or more, surest first."""
    top, lead = said.face.max(axis=1), said.face.argmax(axis=1)
    wrong = table.headline & (table.view == 0) & (table.face >= 0) & (lead != table.face) & (top >= least)
    rows = np.flatnonzero(wrong)
    return rows[np.argsort(-top[rows], kind="stable")]


def chosen(table: Table, said: Judged) -> list[int]:
    """The surest mistakes to show: one of a piece, a few of each confusion."""
    pieces, pairs, out = set(), Counter[tuple[int, int]](), []
    for row in mistakes(table, said).tolist():
        pair = int(table.face[row]), int(said.face[row].argmax())
        if table.author[row] in pieces or pairs[pair] >= PER_PAIR:
            continue
        pieces.add(table.author[row])
        pairs[pair] += 1
        out.append(row)
        if len(out) == SHOWN:
            break
    return out


def pushed(terms: Array, kinds: Sequence[str], truth: int, lead: int) -> list[tuple[str, float]]:
    """(kind, nats) by which each kind of evidence (experts, faces) favoured the wrong face over the true one, most first."""
    total: dict[str, float] = {}
    for kind, row in zip(kinds, terms, strict=True):
        total[kind] = total.get(kind, 0.0) + float(row[lead] - row[truth])
    return sorted(total.items(), key=lambda kv: -kv[1])


def sentence(table: Table, facts: Facts, said: Judged, config: Config, row: int) -> str:
    """What a panel is, what it was called, what spoke for that and what was there to tell."""
    truth, lead = int(table.face[row]), int(said.face[row].argmax())
    role, species, layout, _ = [*str(facts.told[row]).split("|"), "", "", "", ""][:4]
    true, called = FACES[truth], FACES[lead]
    what = WORDS[true] + (f" ({species})" if species else "") + (f", {layout} layout" if layout not in ("", "print", "bare") else "")
    reasons = [f"{kind.replace('_', ' ')} {nats:+.1f} nats" for kind, nats in
               pushed(said.terms[row], [e.kind for e in config.experts], truth, lead) if nats >= 0.1][:2]
    cues = [c for k, c in enumerate(CUES) if table.cues[row, k] and c != "none"]
    shared = SHARED.get((true, called), "the two look alike here")
    return (f"`{facts.id[row]}`{', a ' + role if role else ''} of {what}, called {WORDS[called]} at {said.face[row, lead]:.2f}"
            f"{' and decided' if said.decided[row] else ', left undecided'}. {shared[0].upper() + shared[1:]}. "
            f"Spoke for it, against the truth: {', '.join(reasons) or 'no group of numbers by itself, but the prior'}. "
            f"In view by the truth: {', '.join(cues) or 'no cue'}; {KINDS[facts.kind[row]]}, panel of {facts.side[row]:.0f} px square.")


def tile(picture: NDArray[np.uint8], outline: Sequence[tuple[float, float]], title: str) -> NDArray[np.uint8]:
    """(300 + 26, 400, 3) BGR: the panel with its surroundings and outline, words above."""
    points = np.array(outline)
    low, high = points.min(axis=0), points.max(axis=0)
    centre, half = (low + high) / 2, (high - low) / 2 * 1.6 + 12
    tall, wide = TILE
    half = np.maximum(half, [half[1] * wide / tall, half[0] * tall / wide])
    size = np.array([picture.shape[1], picture.shape[0]])
    x0, y0 = np.clip(np.floor(centre - half), 0, size - 2).astype(int)
    x1, y1 = np.clip(np.ceil(centre + half), [x0 + 2, y0 + 2], size).astype(int)
    scale = min(wide / (x1 - x0), tall / (y1 - y0))
    w, h = max(1, min(wide, round((x1 - x0) * scale))), max(1, min(tall, round((y1 - y0) * scale)))
    out = np.full((tall + STRIP, wide, 3), 245, np.uint8)
    shown = resize(np.ascontiguousarray(picture[y0:y1, x0:x1]), w, h)
    left, top = (wide - w) // 2, STRIP + (tall - h) // 2
    out[top : top + h, left : left + w] = shown
    corners = np.round((points - [x0, y0]) * scale + [left, top]).astype(np.int32)
    for colour, thick in (((255, 255, 255), 3), ((0, 0, 0), 1)):
        cv2.polylines(out, [corners], True, colour, thick, cv2.LINE_AA)
    cv2.putText(out, title, (6, 18), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (20, 20, 20), 1, cv2.LINE_AA)
    return out


def picture_sheet(tiles: Sequence[NDArray[np.uint8]]) -> bytes:
    """All tiles as one JPEG of at most MOST_BYTES."""
    blank = np.full_like(tiles[0], 245)
    padded = [*tiles, *[blank] * (-len(tiles) % COLUMNS)]
    sheet = np.vstack([np.hstack(padded[k : k + COLUMNS]) for k in range(0, len(padded), COLUMNS)])
    for quality in range(86, 20, -4):
        done, found = cv2.imencode(".jpg", sheet, [cv2.IMWRITE_JPEG_QUALITY, quality])
        if done and len(found) <= MOST_BYTES:
            return bytes(found)
    raise ValueError("the sheet does not get small enough")


def tiles_of(table: Table, facts: Facts, said: Judged, rows: Sequence[int], renders: Path) -> list[NDArray[np.uint8]]:
    """A tile for each row, from the renders."""
    from training.rendered import rendered_panels

    by_id = {r.id: r for r in rendered_panels(renders)}
    out = []
    for number, row in enumerate(rows, 1):
        labelled = by_id[str(facts.id[row])]
        picture = cv2.imread(str(labelled.path), cv2.IMREAD_COLOR)
        if picture is None:
            raise FileNotFoundError(labelled.path)
        lead = int(said.face[row].argmax())
        title = f"{number}. {WORDS[FACES[int(table.face[row])]]}, called {WORDS[FACES[lead]]} {said.face[row, lead]:.2f}"
        out.append(tile(np.asarray(picture, np.uint8), labelled.outline, title))
    return out


def counted(table: Table, facts: Facts, said: Judged, least: float) -> Iterator[str]:
    """Mistakes at `least` or more by confusion, with ids, then by cue."""
    rows = mistakes(table, said, least)
    faces = table.headline & (table.view == 0) & (table.face >= 0)
    sure = faces & (said.face.max(axis=1) >= least)
    yield f"Wrong at {least:.1f} or more: {len(rows)} of the {int(sure.sum())} faces judged that surely, of {int(faces.sum())} in all."
    yield ""
    if not len(rows):
        return
    pairs = Counter((int(table.face[r]), int(said.face[r].argmax())) for r in rows.tolist())
    yield "| truth | called | panels | specimens | which |"
    yield "|---|---|---|---|---|"
    for (truth, lead), count in pairs.most_common():
        mine = [r for r in rows.tolist() if table.face[r] == truth and said.face[r].argmax() == lead]
        names = ", ".join(sorted(str(facts.id[r]) for r in mine)[:12]) + (" ..." if len(mine) > 12 else "")
        yield f"| {WORDS[FACES[truth]]} | {WORDS[FACES[lead]]} | {count} | {len({table.specimen[r] for r in mine})} | {names} |"
    yield ""
    yield "| cue in view | wrong | of so surely judged |"
    yield "|---|---|---|"
    for k, cue in enumerate(CUES):
        if (among := sure & table.cues[:, k]).any():
            yield f"| {cue} | {int(table.cues[rows, k].sum())} | {int(among.sum())} |"
    yield ""


def document(real: tuple[Table, Facts, Judged], made: tuple[Table, Facts, Judged], rows: Sequence[int], config: Config) -> str:
    """The text of docs/failures.md."""
    lines = [
        "# Where it is sure and wrong", "",
        "Generated by `python -m training.failures --renders DIR --photos DIR`. Do not edit. Every panel was judged by a classifier that never saw its author or piece; how often such mistakes happen stands in [accuracy.md](accuracy.md).", "",
        "## Rendered panels", "",
        f"The surest mistakes, one of a piece and at most {PER_PAIR} of a kind. The first sentence of each says what it is and what it was called, the second what the two share, the rest what the numbers said. Evidence is in nats: +0.7 doubles the odds.", "",
        f"![{len(rows)} rendered panels with their outlines, each surely judged and wrong]({PICTURES}/{PICTURE})", "",
        *(f"{k}. {sentence(*made, config, row)}" for k, row in enumerate(rows, 1)), "",
        *counted(*made, SURE[0]),
        "## Real photographs", "",
        "In words only: the photographs belong to others. Ids are the collection's own. Labels are their authors' word or what a collector saw, so a few of these may be right after all.", "",
    ]
    for least in SURE:
        lines += counted(*real, least)
    return "\n".join(lines)


def main() -> None:
    """Write the document and its picture."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--renders", type=Path, required=True, help="the renders that the rendered table was measured on")
    ap.add_argument("--photos", type=Path, required=True, help="the collection that the real table was measured on")
    ap.add_argument("--workers", type=int, default=2)
    args = ap.parse_args()
    config = load_config()
    real, rendered, _ = load_tables()
    if rendered is None:
        ap.error("no rendered table is stored")
    said = judge(real, rendered, config, args.workers)
    facts = real_facts(real, args.photos), rendered_facts(rendered, args.renders)
    rows = chosen(rendered, said[1])
    sheet = picture_sheet(tiles_of(rendered, facts[1], said[1], rows, args.renders))
    (DOCUMENT.parent / PICTURES).mkdir(exist_ok=True)
    (DOCUMENT.parent / PICTURES / PICTURE).write_bytes(sheet)
    text = document((real, facts[0], said[0]), (rendered, facts[1], said[1]), rows, config)
    DOCUMENT.with_name("failures.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()

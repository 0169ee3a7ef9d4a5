"""Plain words for a layout, and which way it points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.layouts.layout import WIDTHS, Relation

#: Equal widths differ by no more than this share.
_EQUAL = 0.06

_NAMES = {
    "single": "one piece", "boards": "boards side by side", "random": "unrelated leaves side by side",
    "slip": "leaves laid side by side, not turned", "book": "leaves opened like the pages of a book",
    "end": "leaves mirrored end to end", "sunburst": "wedges about a centre", "box": "a box of four leaves",
    "reverse_box": "a reverse box of four leaves", "diamond": "a diamond of four leaves",
    "reverse_diamond": "a reverse diamond of four leaves", "herringbone": "slanting grain that turns back at a line",
    "basket": "blocks laid in turn lengthwise and crosswise",
}
_WHY = {
    "slip": "Neighbours show the same figure again, a little changed: they were sliced one after the other from one block, "
            "which points to veneer. A print repeats too, but without change.",
    "book": "Neighbours mirror each other, a little changed: they were sliced one after the other and every second one turned "
            "over, which points to veneer. Boards sawn from one plank can be laid so too, but rarely are.",
    "end": "The figure mirrors end to end: leaves sliced one after the other, which points to veneer.",
    "sunburst": "Thin wedges of one figure meeting in a point are cut from veneer; boards laid so would tear apart as they move.",
    "box": "Grain that runs round a panel in four mitred leaves points to veneer: wide boards laid so would crack. A frame of "
           "four narrow parts looks alike.",
    "reverse_box": "Four leaves with the grain running out to every edge point to veneer: wide boards laid so would crack.",
    "diamond": "Four quarters mirrored about both middle lines point to veneer: boards laid so would crack.",
    "reverse_diamond": "Four quarters mirrored about both middle lines point to veneer: boards laid so would crack.",
    "herringbone": "Slanting strips are laid both as veneer and as solid floor or board; this alone decides nothing.",
    "basket": "Blocks crosswise are laid both as veneer and as solid parquet; this alone decides nothing.",
    "boards": "The widths and tones differ and no figure is shared between neighbours, as with boards glued up; veneer laid as "
              "planks can look the same.",
    "random": "No figure is shared between neighbours; both boards and veneer laid as planks look so.",
    "single": "No joint and no related leaves were found; a board, one wide leaf or a print can look so.",
}
#: Why a probable name is not given after all.
_AGAINST = {
    "single": "yet a step of tone runs right across, as at a joint",
    "book": "yet no mirrored figure could be measured",
    "end": "yet no line was found at which the figure mirrors",
    "slip": "yet no repeated figure could be measured",
}
_VENEER = ("slip", "book", "end", "sunburst", "box", "reverse_box", "diamond", "reverse_diamond")


def widths_of(widths: Sequence[float]) -> str | None:
    """Key of WIDTHS for leaf widths in order; None below two leaves."""
    w = np.asarray(widths, float)
    if len(w) < 2:
        return None
    if np.abs(w / w.mean() - 1).max() > 2 * _EQUAL:
        return "running"
    return "centre_balance" if len(w) % 2 == 0 else "balance"


def points_to(name: str, relations: Sequence[Relation]) -> str | None:
    """'veneer' where leaves are related or laid as only thin leaves can be, 'boards' where neighbours share nothing."""
    if name in ("slip", "book", "end"):
        return "veneer" if any(r.kind != "unrelated" for r in relations) else None
    if name in _VENEER:
        return "veneer"
    if name == "boards" and relations and all(r.kind == "unrelated" for r in relations):
        return "boards"
    return None


def words_of(name: str, probable: str, probability: float, leaves: int, relations: Sequence[Relation], wedges: int | None,
             widths: str | None, unsupported: bool = False) -> str:
    """Two or three sentences about a reading; `unsupported`: unclear only because measurements speak against the name."""
    if name == "unclear" and unsupported and probable in _AGAINST:
        return f"Which layout this is cannot be settled: it looks most like {_NAMES[probable]}, {_AGAINST[probable]}."
    if name == "unclear":
        return f"Which layout this is cannot be settled; nearest is {_NAMES[probable]} ({probability:.0%})."
    parts = [f"This looks like {_NAMES[name]} ({probability:.0%})."]
    if name == "sunburst" and wedges:
        parts.append(f"{wedges} wedges are counted.")
    if widths is not None:
        parts.append(f"{leaves} leaves: {WIDTHS[widths]}.")
    related = sum(r.kind != "unrelated" for r in relations)
    if relations and name in ("book", "slip", "end"):
        parts.append(f"{related} of {len(relations)} neighbouring pairs share their figure.")
    parts.append(_WHY[name])
    return " ".join(parts)

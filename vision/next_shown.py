"""What can be asked for and what it would show: how often an ordinary owner, asked for this, gets to see that.

Every number here is *common practice, no source*: a considered guess. They rank asks; no verdict is made from them. How a photo
is then read is not guessed but measured (`vision.next_reading`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from vision import registry

_FACE_OF = {s: f for (f, _), s in registry.SUBSTRATE_OF.items()}
_CORE_OF = {s: c for (f, c), s in registry.SUBSTRATE_OF.items() if f != "not_wood"}
Row = dict[str, float]

ROLE_WORDS: Mapping[str, str] = {
    "top": "the top", "side": "the side", "drawer_front": "the drawer fronts", "door": "the door",
    "drawer_side": "the drawer side", "back": "the back", "shelf": "the shelf", "leg": "the leg",
    "frame": "the frame", "unknown": "this panel",
}


@dataclass(frozen=True, eq=False)
class Ask:
    """One possible ask. `key` in registry.ASKS; `kind` 'photo' or 'check'; `roles` it makes sense for; `cue` that makes
    it (mostly) a repeat; `rows`: substrate -> outcome -> probability; `text` with {part} filled in; `needs`: cue without which
    it makes no sense."""

    key: str
    kind: str
    roles: frozenset[str]
    cue: str | None
    rows: Mapping[str, Row]
    text: str
    needs: str | None = None

    def __post_init__(self) -> None:
        if self.key not in registry.ASKS:
            raise ValueError(f"unknown ask {self.key!r}")
        if set(self.rows) != set(registry.SUBSTRATES):
            raise ValueError(f"ask {self.key}: a substrate has no row")
        for substrate, row in self.rows.items():
            if abs(sum(row.values()) - 1) > 1e-9 or min(row.values()) < 0:
                raise ValueError(f"ask {self.key}: outcomes given {substrate} do not sum to 1")


def _by_core(lumber: Row, plywood: Row, particle_board: Row, fibreboard: Row, *, none: Row, solid: Row | None = None,
             bare: float | None = None) -> dict[str, Row]:
    """Rows that depend on the core. `solid` replaces the row of solid lumber; `none` is the row of what is no board.
    `bare`: chance that a raw board's own material shows, in place of the row's."""
    cores = {"lumber": lumber, "plywood": plywood, "particle_board": particle_board, "fibreboard": fibreboard}
    rows: dict[str, Row] = {}
    for s in registry.SUBSTRATES:
        if s == "not_wood":
            rows[s] = none
            continue
        row = cores[_CORE_OF[s]]
        if s == "solid_lumber" and solid is not None:
            row = solid
        if _FACE_OF[s] == "bare_board" and bare is not None:
            key = max((k for k in row if k != "hidden"), key=row.__getitem__)
            rest = 1 - bare
            row = {key: bare, "hidden": rest}
        rows[s] = row
    return rows


def _by_face(rows: Mapping[str, Row]) -> dict[str, Row]:
    """Rows that depend on the face alone."""
    return {s: dict(rows[_FACE_OF[s]]) for s in registry.SUBSTRATES}


_HIDDEN: Row = {"hidden": 1.0}
_ALL = frozenset(registry.ROLES)
_BOARDS = _ALL - {"leg", "frame"}

#: Common practice, no source. Raw section at an edge or end: how often it shows, and as what.
_EDGE = _by_core(
    {"lumber_under_line": 0.45, "lumber": 0.15, "hidden": 0.40},
    {"plies": 0.60, "hidden": 0.40},
    {"particles": 0.40, "hidden": 0.60},
    {"fibre": 0.45, "hidden": 0.55},
    none=_HIDDEN, solid={"lumber": 0.80, "lumber_under_line": 0.03, "hidden": 0.17}, bare=0.9,
)
_END = _by_core(
    {"rings_under_line": 0.45, "rings": 0.10, "hidden": 0.45},
    {"plies": 0.50, "hidden": 0.50},
    {"particles": 0.35, "hidden": 0.65},
    {"fibre": 0.40, "hidden": 0.60},
    none=_HIDDEN, solid={"rings": 0.85, "rings_under_line": 0.02, "hidden": 0.13}, bare=0.9,
)
_UNDERSIDE = _by_core(
    {"other_boards": 0.55, "same_boards": 0.15, "hidden": 0.30},
    {"plies": 0.45, "backing_sheet": 0.30, "hidden": 0.25},
    {"particles": 0.35, "backing_sheet": 0.40, "hidden": 0.25},
    {"fibre": 0.45, "backing_sheet": 0.30, "hidden": 0.25},
    none=_HIDDEN, solid={"same_boards": 0.70, "other_boards": 0.10, "hidden": 0.20}, bare=0.9,
)
_HOLE = _by_core(
    {"lumber": 0.65, "hidden": 0.35},
    {"plies": 0.55, "lumber": 0.08, "hidden": 0.37},
    {"particles": 0.70, "hidden": 0.30},
    {"fibre": 0.65, "particles": 0.03, "hidden": 0.32},
    none=_HIDDEN, bare=0.9,
)
_WEIGHT = _by_core(
    {"light": 0.55, "heavy": 0.45}, {"light": 0.55, "heavy": 0.45}, {"light": 0.25, "heavy": 0.75},
    {"light": 0.25, "heavy": 0.75}, none={"light": 0.5, "heavy": 0.5},
)
_MACRO = _by_face({
    "solid_wood": {"pores": 0.75, "even_film": 0.03, "unclear": 0.22},
    "veneer": {"pores": 0.72, "even_film": 0.05, "unclear": 0.23},
    "printed": {"dots_or_soft": 0.55, "pores": 0.06, "even_film": 0.14, "unclear": 0.25},
    "opaque": {"even_film": 0.70, "pores": 0.05, "unclear": 0.25},
    "bare_board": {"fibres": 0.75, "unclear": 0.25},
    "not_wood": {"other": 0.70, "unclear": 0.30},
})
_LIGHT = _by_face({
    "solid_wood": {"pores_break_light": 0.50, "smooth": 0.20, "unclear": 0.30},
    "veneer": {"pores_break_light": 0.45, "smooth": 0.20, "ripple": 0.08, "unclear": 0.27},
    "printed": {"pores_break_light": 0.10, "smooth": 0.55, "ripple": 0.05, "unclear": 0.30},
    "opaque": {"smooth": 0.45, "stipple": 0.30, "unclear": 0.25},
    "bare_board": {"dull": 0.70, "unclear": 0.30},
    "not_wood": {"smooth": 0.30, "dull": 0.30, "unclear": 0.40},
})
_ARRIS = _by_face({
    "solid_wood": {"no_seam": 0.85, "seam": 0.05, "unclear": 0.10},
    "veneer": {"no_seam": 0.25, "seam": 0.50, "unclear": 0.25},
    "printed": {"no_seam": 0.25, "seam": 0.55, "unclear": 0.20},
    "opaque": {"no_seam": 0.60, "seam": 0.15, "unclear": 0.25},
    "bare_board": {"no_seam": 0.85, "seam": 0.02, "unclear": 0.13},
    "not_wood": {"no_seam": 0.50, "seam": 0.20, "unclear": 0.30},
})
_WORN = _by_face({
    "solid_wood": {"same_wood": 0.45, "none": 0.55},
    "veneer": {"wood_sheet": 0.35, "same_wood": 0.07, "none": 0.58},
    "printed": {"paper_or_plastic": 0.40, "none": 0.60},
    "opaque": {"under_paint": 0.45, "none": 0.55},
    "bare_board": {"same_board": 0.60, "none": 0.40},
    "not_wood": {"none": 1.0},
})
#: The same where the photo shows a damaged spot already: nothing to see is rarer.
_SPOT = _by_face({
    "solid_wood": {"same_wood": 0.75, "none": 0.25},
    "veneer": {"wood_sheet": 0.60, "same_wood": 0.10, "none": 0.30},
    "printed": {"paper_or_plastic": 0.70, "none": 0.30},
    "opaque": {"under_paint": 0.75, "none": 0.25},
    "bare_board": {"same_board": 0.85, "none": 0.15},
    "not_wood": {"none": 1.0},
})
_KNOT = {s: ({"same_knot": 0.20, "nothing": 0.80} if s == "solid_lumber" else {"same_knot": 0.003, "nothing": 0.997})
         for s in registry.SUBSTRATES}

ASKS: tuple[Ask, ...] = (
    Ask("edge_close", "photo", _BOARDS - {"drawer_front", "door"}, "edge", _EDGE,
        "Photograph a bare edge or corner of {part} from a hand's width away, turned so that face and edge both show."),
    Ask("top_end", "photo", frozenset({"top"}), "end", _END,
        "Photograph the short end of {part} close up, level with it: rings there mean boards, layers or crumbs mean a core."),
    Ask("underside", "photo", frozenset({"top", "shelf", "side", "back", "drawer_side", "unknown"}), None, _UNDERSIDE,
        "Photograph the other side of {part} (underside, inside or back), where nobody finished it."),
    Ask("drawer_top_edge", "photo", frozenset({"drawer_front"}), "edge", _EDGE,
        "Pull a drawer out and photograph the top edge of its front, straight down and close."),
    Ask("door_edge", "photo", frozenset({"door"}), "edge", _EDGE,
        "Open the door and photograph its edge close up, with the inside face in view."),
    Ask("macro", "photo", _ALL, "macro", _MACRO,
        "Photograph {part} from as close as the phone still focuses, in daylight, with no zoom."),
    Ask("side_light", "photo", _ALL, "gloss_pair", _LIGHT,
        "Take {part} once more from the same spot, with a lamp low at one side and the flash off."),
    Ask("hole", "check", _ALL, None, _HOLE,
        "Look into a screw hole, hinge recess or drilled hole in {part}: boards, layers, crumbs or felt-like fibre?"),
    Ask("arris", "check", _ALL, None, _ARRIS,
        "Draw a fingernail over the corner from the face of {part} to its edge: a seam there means a sheet was laid on."),
    Ask("worn_spot", "check", _ALL, "wear", _WORN,
        "Find a chip or worn corner on {part} and see what lies under the surface: paper, a thin sheet, or the same wood."),
    Ask("spot_seen", "check", _ALL, None, _SPOT,
        "Look closely at the damaged spot marked on {part}: what lies under the surface there, paper, a thin sheet, or the same "
        "wood?", "wear"),
    Ask("knot_through", "check", frozenset({"top", "side", "door", "shelf", "unknown"}), None, _KNOT,
        "Look for one knot or crack in {part} on both of its sides: if it goes through, the board is solid."),
    Ask("weigh", "check", frozenset({"door", "shelf", "drawer_front"}), None, _WEIGHT,
        "Lift {part}: board made of chips or fibre is heavy for its size. Weak evidence, only a hint."),
)

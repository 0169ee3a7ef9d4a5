"""What can be made: builds of real edges, traps that look like edges, and the plywood table by nominal thickness."""

from __future__ import annotations

from typing import Final

#: Build to what its narrow side shows (see `vision.edges.kinds`): solid wood cut along or across the grain counts wherever
#: it is seen, so a lumber core below a veneer and a solid lipping are named by the wood in view; a glued-on strip of any
#: stuff is a banding.
BUILDS: Final[dict[str, str]] = {
    "solid_edge": "solid_edge",
    "solid_end": "solid_end",
    "glued_end": "solid_end",
    "veneer_lumber_edge": "solid_edge",
    "veneer_lumber_end": "solid_end",
    "veneer_plywood": "plies",
    "bare_plywood": "plies",
    "laminate_plywood": "plies",
    "veneer_particle": "particles",
    "bare_particle": "particles",
    "laminate_particle": "particles",
    "veneer_fibre": "fibre",
    "bare_fibre": "fibre",
    "laminate_fibre": "fibre",
    "band_wood": "banding",
    "band_print": "banding",
    "band_plain": "banding",
    "band_laminate": "banding",
    "band_end_print": "banding",
    "lipping": "solid_edge",
    "painted": "painted",
}
#: Traps that are edges nonetheless, by what they show.
EDGE_TRAPS: Final[dict[str, str]] = {"stringing": "solid_edge", "book_arris": "banding"}
#: Traps that are no edge at all.
OTHER_TRAPS: Final[tuple[str, ...]] = ("drawers", "books", "rope", "card", "louvre", "carpet")
NAMES: Final[tuple[str, ...]] = (*BUILDS, *EDGE_TRAPS, *OTHER_TRAPS)
STRIP_OF: Final[dict[str, str]] = {**BUILDS, **EDGE_TRAPS, **dict.fromkeys(OTHER_TRAPS, "other")}
#: Builds without any sheet on their narrow side. A plywood's own face ply is one, so plywood is none of them.
NO_SHEET: Final = ("solid_edge", "solid_end", "glued_end", "stringing", "bare_particle", "bare_fibre", "band_wood",
                   "band_print", "band_plain", "band_laminate", "band_end_print", "book_arris", "painted")
SETTINGS: Final = ("close", "angled")

#: (plies, actual mm) by nominal mm: birch-type plywood of 1.4 mm veneers as a board dealer lists it, then thicker-plied
#: poplar and veneer-core boards (3/4 in of 7 or 11 layers, 9 to 18 mm of 7 to 15).
PLYWOOD: Final[tuple[tuple[int, float], ...]] = (
    (3, 3.8), (5, 6.4), (7, 9.2), (9, 12.0), (11, 14.9), (13, 17.7),
    (5, 9.0), (7, 12.0), (9, 15.0), (11, 18.0), (7, 19.0), (11, 19.0), (5, 12.0), (9, 18.0), (13, 18.0),
)

"""What was measured, said in words: one sentence a kind, built from the numbers on this very panel.

A sentence states only what the numbers say. Which way it points and how much it weighs comes from the classifier.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from vision.cues_seen import read_cues
from vision.details.sides import side_words
from vision.findings.base import PanelContext

#: Ring arcs are spoken of from this fit and this share of the misfit of parallel lines that circles remove.
RING_FIT, RING_GAIN = 0.9, 0.5
#: A line is spoken of as dark when it is this much darker than the darker strip beside it; a spot as of another hue from this
#: tint (the median on real photos); figure as of fuller colour where darker from this slope.
GAP_TOLD, SPOT_TINT, FULLER = 0.05, 0.05, -0.05

Observer = Callable[[PanelContext], str]


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.01 or share == 0 else "under 1 %"


def _known(*values: float) -> bool:
    return all(math.isfinite(v) for v in values)


def overall_look(ctx: PanelContext) -> str:
    """The learned impression has no single number; say so."""
    return "Overall look beside labelled photos."


def colour(ctx: PanelContext) -> str:
    line, tones, chroma = ctx.value("colour_line_share"), ctx.value("colour_tone_count"), ctx.value("colour_chroma_seen")
    if not _known(line, tones, chroma):
        return "Colour could hardly be measured here."
    tint = "nearly grey" if chroma < 6 else "muted" if chroma < 18 else "warm and full" if chroma < 40 else "strong"
    return f"Colour: {tint}, about {tones:.0f} tones, {_percent(line)} of its spread on one pale-to-dark line."


def fine_texture(ctx: PanelContext) -> str:
    dashes, flecks, keep = ctx.value("texture_dash_share"), ctx.value("texture_fleck_share"), ctx.value("texture_streak_keep")
    if not _known(dashes, flecks, keep):
        return "Too little fine texture is resolved to measure."
    return (f"Fine texture: dark dashes along the grain on {_percent(dashes)} of the surface, short bright cross marks on "
            f"{_percent(flecks)}; {_percent(keep)} of it runs on as streaks.")


def print_clues(ctx: PanelContext) -> str:
    peak, relief, repeat = ctx.value("print_dot_peak"), ctx.value("print_relief"), ctx.value("print_repeat_peak")
    parts = []
    if _known(peak):
        parts.append(f"strongest regular dot pattern {peak:.0f} dB above its surroundings")
    if _known(relief):
        parts.append(f"fine detail above noise {relief:.0f} dB against the figure's contrast")
    if _known(repeat):
        parts.append(f"figure matches a shifted copy of itself to {repeat:.2f} (1 is a perfect copy)")
    return "Print clues: " + ", ".join(parts) + "." if parts else "Print clues could not be measured here."


def gloss(ctx: PanelContext) -> str:
    share, kept = ctx.value("gloss_share"), ctx.value("gloss_figure_kept")
    if not _known(share):
        return "Gloss could not be measured here."
    text = f"A highlight lies on {_percent(share)} of the panel" if share >= 0.01 else "No clear highlight on the panel"
    if _known(kept):
        text += f"; figure contrast in the brightest part is {math.exp(kept):.1f} times that in the middle"
    return text + "."


def paint_clues(ctx: PanelContext) -> str:
    grain, one, bumps = ctx.value("paint_grain_excess"), ctx.value("paint_one_colour"), ctx.value("paint_stipple")
    if not _known(grain, one):
        return "Paint clues could not be measured here."
    lines = "no grain at any scale" if grain < 0.08 else "faint lines" if grain < 0.25 else "clear lines"
    text = f"Paint clues: {lines}, {_percent(one)} of the surface in one colour"
    if _known(bumps) and bumps > 6:
        text += ", with even, directionless bumps"
    return text + "."


def grain_flow(ctx: PanelContext) -> str:
    """Words for the direction field; see vision.grain.flow for the numbers."""
    from vision.grain.flow import flow, resolved

    field = ctx.measure.field
    valid = field.valid.sum()
    share = float(resolved(field).sum() / valid) if valid else 0.0
    run = flow(field)
    if share < 0.05 or not _known(run.deviation):
        return "No grain direction is resolved on the panel."
    manner = "straight" if run.deviation < 4 else "gently bending" if run.deviation < 12 else "in wide, wandering figure"
    return f"Grain is resolved on {_percent(share)} of the panel and runs {manner} (spread {run.deviation:.0f} degrees)."


def board_strips(ctx: PanelContext) -> str:
    n = len(ctx.structure.strips)
    if n < 2:
        return "No joints between strips were found; that alone says little."
    return f"{n} strips side by side along the grain, with a change of tone or figure at each joint."


def direction_seam(ctx: PanelContext) -> str:
    n = len(ctx.structure.seams)
    if n == 0:
        return "The grain direction breaks nowhere on the panel."
    turns = ", ".join(f"{s.turn:.0f}" for s in ctx.structure.seams[:3])
    return f"The grain direction breaks along {n} line{'s' if n > 1 else ''} (turn of {turns} degrees)."


def knot(ctx: PanelContext) -> str:
    n = len(ctx.structure.knots)
    if n == 0:
        return "No dark spot with grain turning round it was found."
    return f"{n} dark spot{'s' if n > 1 else ''} with grain turning round: a knot, unless a knob or hole sits there."


def edge_layers(ctx: PanelContext) -> str:
    count, coherence = ctx.value("layers_count"), ctx.value("layers_coherence")
    if not _known(count, coherence) or count < 2:
        return "No layers parallel to the face are seen on this edge."
    return f"About {count:.0f} layers parallel to the face; {_percent(coherence)} of the tone depends on depth alone."


def edge_particles(ctx: PanelContext) -> str:
    rough = ctx.value("particles_rough_gap")
    if not _known(rough):
        return "The make-up of this edge is too small to measure."
    middle = "coarser than" if rough > 0.15 else "finer than" if rough < -0.15 else "as coarse as"
    return f"The middle of the edge is {middle} its skins."


def end_rings(ctx: PanelContext) -> str:
    fit, gain = ctx.value("rings_fit"), ctx.value("rings_gain")
    if not _known(fit, gain):
        return "Too little line structure to look for ring arcs."
    if gain < RING_GAIN or fit < RING_FIT:
        return "Lines here run no more like ring arcs than like parallel lines."
    return f"Lines bend like ring arcs about one centre (circles explain {_percent(gain)} of what parallel lines leave over)."


def edge_make(ctx: PanelContext) -> str:
    side = ctx.measure.side
    return "No narrow side could be laid out and measured." if side is None else side_words(side)


def strip_on_face(ctx: PanelContext) -> str:
    """What the numbers of a narrow side say of a long panel that is likely none."""
    if ctx.measure.side is None:
        return "Not of a narrow side's proportions."
    return "Measured also as a narrow side would be, in case it is one."


def speckle(ctx: PanelContext) -> str:
    """What the particle numbers say where no edge is in view."""
    size = ctx.value("particles_size")
    if not _known(size):
        return "Speckle of the surface could not be measured here."
    return f"Speckle of the surface: grains about {math.exp(size):.0f} px across."


def bands(ctx: PanelContext) -> str:
    """What the layer numbers say where no edge is in view."""
    count, coherence = ctx.value("layers_count"), ctx.value("layers_coherence")
    if not _known(count, coherence):
        return "Bands across the panel could not be measured here."
    return f"Bands from side to side: {_percent(coherence)} of the tone depends on the position across the panel alone."


def shape(ctx: PanelContext) -> str:
    aspect = ctx.value("shape_log_aspect")
    return f"Shape: {2**aspect:.1f} times as long as wide." if _known(aspect) else "Shape could not be measured here."


def leaf_layout(ctx: PanelContext) -> str:
    layout = ctx.measure.layout
    return layout.words if layout is not None else "No layout of leaves or boards was read."


def eye_cues(ctx: PanelContext) -> str:
    """Lines between strips, dark spots and sheen, as far as they were read."""
    cues = read_cues(ctx.measure.view, ctx.measure.field)
    said = []
    n, gaps = len(cues.boundaries), [b.gap for b in cues.boundaries if b.gap >= GAP_TOLD]
    bare = sum(b.bare for b in cues.boundaries)
    if gaps:
        said.append(f"{len(gaps)} of {n} straight line{'s' if n > 1 else ''} along the grain dark, as a gap, a drawn line or a "
                    f"streak is (up to {_percent(max(gaps))} darker than beside it)")
    if bare:
        said.append(f"{bare} step{'s' if bare > 1 else ''} of tone with neither gap nor light line")
    tint = ctx.value("eye_spot_tint")
    if _known(tint):
        said.append(f"dark spots {'of another hue than' if tint >= SPOT_TINT else 'much of the hue of'} the wood around them")
    apart = ctx.value("eye_sheen_apart")
    if _known(apart):
        said.append(f"in the highlight, {_percent(apart)} of the detail goes without the figure's colour")
    slope = ctx.value("eye_figure_slope")
    if not said and not _known(slope):
        return "Too small to look closely."
    if not said:
        said.append("darker figure is of fuller colour" if slope <= FULLER else "colour hardly goes with the figure's tone")
    return f"Looked at closely: {'; '.join(said)}."


OBSERVERS: dict[str, Observer] = {
    "overall_look": overall_look, "colour": colour, "fine_texture": fine_texture, "print_clues": print_clues, "gloss": gloss,
    "paint_clues": paint_clues, "grain_flow": grain_flow, "board_strips": board_strips, "direction_seam": direction_seam,
    "knot": knot, "edge_layers": edge_layers, "edge_particles": edge_particles, "end_rings": end_rings,
    "shape": shape, "leaf_layout": leaf_layout, "edge_make": edge_make, "eye_cues": eye_cues,
}
#: The same measurements where no edge is in view are a matter of the surface, and are worded so.
ON_FACES: dict[str, Observer] = {**OBSERVERS, "edge_particles": speckle, "edge_layers": bands, "edge_make": strip_on_face}

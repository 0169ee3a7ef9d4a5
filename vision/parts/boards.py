"""Which sightings show one part: the edge beside its face, a run of like fronts, the same top in two photos.

Joining wrongly mixes two materials into one answer, so every rule refuses when the layout leaves a choice: the panels
then stay parts of their own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from shapely.geometry import Polygon

from vision import registry
from vision.assessment import Part
from vision.parts.fuse import DEPENDENCE, Dependence, Sighting, fuse, substrate_prior
from vision.parts.roles import guess_roles
from vision.types import Panel

#: Outlines closer than this share of the photo's diagonal touch. The nearest reach at which an edge touches any face decides:
#: outlines drawn well leave hardly a gap, found ones more, and a wide reach alone takes in the neighbour's edges.
TOUCH_SHARES = (0.002, 0.004, 0.008)
#: An edge lies along a face when this share of its length touches it.
ALONG_SHARE = 0.7
#: A second face touching nearly as much (this share of the first) makes the choice open.
RIVAL_SHARE = 0.6
#: Largest colour difference (CIE76, L*a*b*) between like fronts in one photo, and between two photos in other light.
SAME_PHOTO_DELTA, OTHER_PHOTO_DELTA = 12.0, 25.0
#: Roles of which a piece has only one.
SINGLE = ("top", "back")
#: Roles whose panels, side by side in one photo, are usually cut from one material.
RUNS = ("drawer_front", "door", "drawer_side")

#: (photo id, panel id).
Place = tuple[str, str]
#: (role, sightings).
Group = tuple[str, list[Sighting]]


def _polygon(panel: Panel) -> Polygon:
    shape = Polygon(panel.outline)
    return shape if shape.is_valid else shape.buffer(0)


def contact(edge: Panel, face: Panel, reach: float) -> float:
    """Share of the long side of `edge` that runs within `reach` pixels of `face` (0..1)."""
    a, b = _polygon(edge), _polygon(face)
    if a.is_empty or b.is_empty or a.distance(b) > reach:
        return 0.0
    frame = a.minimum_rotated_rectangle
    if not isinstance(frame, Polygon):
        return 0.0
    xy = np.array(frame.exterior.coords)
    long_side = float(np.linalg.norm(np.diff(xy, axis=0), axis=1).max())
    touching = a.exterior.intersection(b.buffer(reach)).length
    return min(1.0, float(touching) / max(long_side, 1e-9))


def _owner(edge: Panel, faces: Mapping[int, Panel], roles: Sequence[str], diagonal: float) -> int | None:
    """Index of the face the edge belongs to, None when no face or more than one could own it.

    An edge between a top and what stands below it is the top's: the fronts' own edges face sideways or up.
    """
    shares: dict[int, float] = {}
    for reach in TOUCH_SHARES:
        shares = {i: s for i, f in faces.items() if (s := contact(edge, f, reach * diagonal)) >= ALONG_SHARE}
        if shares:
            break
    if not shares:
        return None
    tops = [i for i in shares if roles[i] == "top"]
    if len(tops) == 1:
        return tops[0]
    ranked = sorted(shares, key=lambda i: -shares[i])
    if len(ranked) > 1 and shares[ranked[1]] >= RIVAL_SHARE * shares[ranked[0]]:
        return None
    return ranked[0]


def like(a: Sighting, b: Sighting, limit: float) -> bool:
    """True when two sightings can be one material: colours near (where known) and no answer against the other."""
    if a.colour is not None and b.colour is not None and float(np.linalg.norm(np.subtract(a.colour, b.colour))) > limit:
        return False
    return bool(set(a.verdict.face_set) & set(b.verdict.face_set))


def _runs(members: Sequence[Sighting], limit: float) -> list[list[Sighting]]:
    """Members split into runs in which every one is like every other."""
    runs: list[list[Sighting]] = []
    for s in members:
        home = next((r for r in runs if all(like(s, t, limit) for t in r)), None)
        if home is None:
            runs.append([s])
        else:
            home.append(s)
    return runs


def _within(sightings: Sequence[Sighting], size: tuple[int, int]) -> list[Group]:
    """(role, sightings) groups of one photo of `size` (width, height)."""
    roles = list(guess_roles([s.panel for s in sightings], [s.view for s in sightings], size))
    diagonal = float(np.hypot(*size))
    faces = {i: s.panel for i, s in enumerate(sightings) if not s.narrow}
    edges: dict[int, list[Sighting]] = {}
    groups: list[Group] = []
    loose: list[Group] = []
    for i, s in enumerate(sightings):
        if s.narrow:
            # A joint is where parts meet: it belongs to none of them alone.
            owner = None if s.view == "joint" else _owner(s.panel, faces, roles, diagonal)
            if owner is None:
                loose.append((roles[i], [s]))
            else:
                edges.setdefault(owner, []).append(s)
    for role in registry.ROLES:
        members = [i for i in faces if roles[i] == role]
        if role in RUNS:
            index = {id(sightings[i]): i for i in members}
            for run in _runs([sightings[i] for i in members], SAME_PHOTO_DELTA):
                groups.append((role, run + [e for s in run for e in edges.get(index[id(s)], [])]))
        else:
            groups += [(role, [sightings[i], *edges.get(i, [])]) for i in members]
    groups += loose
    kept = [g for g in groups if not _says_nothing(*g)]
    return kept or groups


def _says_nothing(role: str, members: Sequence[Sighting]) -> bool:
    """True for a scrap that would make an empty part: an open edge or joint of no known role, or a panel too small.

    What the user pointed at always makes a part.
    """
    return role == "unknown" and all(
        s.panel.source == "found" and s.verdict.undecided and (s.narrow or s.verdict.reason == "too_small") for s in members
    )


def _alike(a: Sequence[Sighting], b: Sequence[Sighting]) -> bool:
    """True when nothing tells the sightings of one group from those of the other on another photo."""
    return all(like(s, t, OTHER_PHOTO_DELTA) for s in a for t in b if s.narrow == t.narrow)


def _by_figure(groups: list[Group], pairs: Sequence[tuple[Place, Place]]) -> list[Group]:
    """Groups joined that show one figure on two photos, unless their roles or looks speak against it.

    `pairs`: places whose figure registers as one surface. A print that two parts share registers too: they are then of one
    make, so that joining them mixes nothing, but parts of two known roles stay apart all the same. A group joins one
    group of each further photo at most.
    """
    out = [(role, list(members)) for role, members in groups]
    for a, b in pairs:
        homes = [next((g for g in out if any((s.photo, s.panel.id) == place for s in g[1])), None) for place in (a, b)]
        one, two = homes
        if one is None or two is None or one is two:
            continue
        known = {role for role, _ in (one, two)} - {"unknown"}
        photos = {s.photo for s in one[1]} & {s.photo for s in two[1]}
        if len(known) > 1 or photos or not _alike(one[1], two[1]):
            continue
        out = [g for g in out if g is not one and g is not two]
        out.append((known.pop() if known else "unknown", one[1] + two[1]))
    return sorted(out, key=lambda g: tuple(registry.ROLES).index(g[0]))


def _across(groups: list[Group]) -> list[Group]:
    """Groups of several photos joined where a role leaves no doubt that they show one part.

    A piece has one top and one back. Runs of fronts join when each photo has exactly one run of that role.
    """
    out: list[Group] = []
    for role in registry.ROLES:
        here = [g for r, g in groups if r == role]
        photos = [p for g in here for p in {s.photo for s in g}]
        once_each = len(set(photos)) == len(photos)
        if role not in (*SINGLE, *RUNS) or not once_each or len(here) < 2:
            out += [(role, g) for g in here]
            continue
        joined: list[list[Sighting]] = []
        for group in here:
            home = next((j for j in joined if _alike(group, j)), None)
            if home is None:
                joined.append(list(group))
            else:
                home += group
        out += [(role, g) for g in joined]
    return out


def find_parts(
    sightings: Sequence[Sighting],
    sizes: Mapping[str, tuple[int, int]],
    *,
    prior_face: Mapping[str, float],
    prior_core: Mapping[str, float],
    prior_substrate: Mapping[str, float] | None = None,
    seen_again: Sequence[tuple[Place, Place]] = (),
    dependence: Dependence = DEPENDENCE,
) -> tuple[Part, ...]:
    """Parts of the piece with fused verdicts, in the order of registry.ROLES.

    `sizes`: (width, height) of each photo by id. A part is one board, or a run of like fronts (drawer fronts of one
    stack, a pair of doors) that nothing tells apart. Panels decided to be no furniture board belong to no part, nor do
    open edges, joints and too small panels that belong to no board, as long as the photo shows anything else.
    `seen_again`: pairs of (photo id, panel id) on two photos whose figure registers as one surface
    (`vision.repeats.Repeat.same_surface`). Priors are those the panels were judged with; `prior_substrate` defaults to the
    one they imply.
    """
    prior = dict(prior_substrate) if prior_substrate is not None else substrate_prior(prior_face, prior_core)
    kept = [s for s in sightings if s.verdict.undecided or max(s.verdict.face, key=s.verdict.face.__getitem__) != "not_wood"]
    groups: list[Group] = []
    for photo in dict.fromkeys(s.photo for s in kept):
        groups += _within([s for s in kept if s.photo == photo], sizes[photo])
    parts: list[Part] = []
    counts: dict[str, int] = {}
    for role, members in _across(_by_figure(groups, seen_again)):
        counts[role] = counts.get(role, 0) + 1
        name = f"part-{counts[role]}" if role == "unknown" else role + (f"-{counts[role]}" if counts[role] > 1 else "")
        verdict = fuse(members, prior=prior, dependence=dependence)
        parts.append(Part(name, role, tuple((s.photo, s.panel.id) for s in members), verdict))
    return tuple(parts)

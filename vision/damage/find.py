"""Damage regions of a rectified panel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.damage import regions
from vision.damage.kinds import BEARINGS, FAMILY_WORDS, KINDS, UNDER_SUPPORTS, UNDER_WORDS, bearing, family, level, severity
from vision.damage.net import DamageNet, shipped_net
from vision.types import GrainField, Outline, WorkingView


@dataclass(frozen=True)
class DamageRegion:
    """One damaged place.

    `kind`: key of KINDS. `outline`: polygon in working-view pixels, `photo_outline` the same in photo pixels. `severity`:
    'minor' or 'major'. `probability`: chance that damage of this kind is there, as measured on drawn panels held out (on photos
    it is right less often: dark knots and end grain are taken for it); None
    for kinds that only a look by hand settles, which are 'possible' and no more. `shows`: key of UNDER_WORDS when what lies
    beneath can be told, else None. `words`: for the reader, what it is and what it means. `area_share`: of the panel.
    `level`, `bears`, `meaning` follow from these: 'low', 'medium' or 'high'; key of BEARINGS and its words."""

    kind: str
    outline: Outline
    photo_outline: Outline
    severity: str
    probability: float | None
    shows: str | None
    words: str
    area_share: float

    def __post_init__(self) -> None:
        if self.kind not in KINDS or self.severity not in ("minor", "major"):
            raise ValueError(f"unknown damage {self.kind!r} or severity {self.severity!r}")
        if len(self.outline) < 3 or len(self.outline) != len(self.photo_outline):
            raise ValueError("a damage region needs an outline of at least three points, once on the view and once on the photo")
        if self.probability is not None and not 0 <= self.probability <= 1:
            raise ValueError(f"a probability lies between 0 and 1, got {self.probability}")
        if (self.probability is None) != KINDS[self.kind].by_hand:
            raise ValueError("kinds that are checked by hand, and only they, come without a probability")

    @property
    def level(self) -> str:
        """'low', 'medium' or 'high'."""
        return level(self.kind, self.area_share, self.severity)

    @property
    def bears(self) -> str:
        """Key of BEARINGS: what it means for the plan."""
        return bearing(self.kind, self.shows)

    @property
    def meaning(self) -> str:
        """What it means for the plan, in short words."""
        return BEARINGS[self.bears]


def find_damage(view: WorkingView, field: GrainField | None = None, *, net: DamageNet | None = None) -> tuple[DamageRegion, ...]:
    """Damaged places of a panel, likeliest first.

    Parameters
    ----------
    view : the rectified panel.
    field : its grain; not needed so far, taken so that all measuring is called alike.
    net : the net to look with; None for the one that comes with the program.

    Raises
    ------
    ModelMismatch
        if the net or its rules are missing, damaged or of another kind than this program.
    """
    del field
    net = net or shipped_net()
    maps = net.look(view.pixels, view.mask)
    found = []
    for raw in regions.find_regions(maps, float(net.rules["threshold"])):
        chance = regions.probability(raw, net.rules)
        if chance >= float(net.rules["least"].get(raw.kind, net.rules["least_probability"])):
            found.append((chance, raw))
    size = (view.pixels.shape[1], view.pixels.shape[0])
    out = []
    for chance, raw in sorted(found, key=lambda f: -f[0]):
        outline = regions.outline_of(raw.cells, maps.scale, size)
        on_photo = tuple((float(x), float(y)) for x, y in view.photo_points(np.array(outline)))
        shows = shown(raw, float(net.rules["under_least"]))
        how_bad = severity(raw.kind, min(1.0, raw.area_share), raw.at_border)
        out.append(
            DamageRegion(
                raw.kind,
                outline,
                on_photo,
                how_bad,
                None if KINDS[raw.kind].by_hand else chance,
                shows,
                sentence(raw.kind, how_bad, shows, open_kind=raw.share < KIND_CLEAR),
                raw.area_share,
            )
        )
    return tuple(out)


#: Share of a damage's probability from which its kind is told apart from others of its family.
KIND_CLEAR = 0.9
#: Kinds beneath which something can show.
OPEN_KINDS = ("chip", "worn_through", "crumbled", "flaking_finish", "lifted_banding", "swollen_edge")


def shown(raw: regions.RawRegion, least: float) -> str | None:
    """What shows beneath a region, where its share reaches `least`."""
    best = int(np.argmax(raw.under))
    return list(UNDER_WORDS)[best] if raw.kind in OPEN_KINDS and raw.under[best] >= least else None


def sentence(kind: str, how_bad: str, shows: str | None, *, open_kind: bool = False) -> str:
    """What is there, what shows beneath and what that supports, and what it means for the work; `open_kind`: another kind of
    its family is not ruled out."""
    rule = KINDS[kind]
    first = f"Possible {rule.words}, check by hand" if rule.by_hand else f"Looks like {rule.words} ({how_bad})"
    if open_kind and family(kind) in FAMILY_WORDS:
        first = f"Looks as if the face is gone here ({how_bad}): {FAMILY_WORDS[family(kind)]}"
    beneath = ""
    if shows is not None:
        beneath = f"; what shows beneath looks like {UNDER_WORDS[shows]}, which {UNDER_SUPPORTS[shows]}"
    return f"{first}{beneath}. {rule.plan}"

"""Findings for what a panel shows besides its material. They carry no weight: how often each goes with each material was
counted nowhere on real furniture, and a weight is measured or not given."""

from __future__ import annotations

from vision.detail import Detail
from vision.findings.base import Draft, PanelContext
from vision.findings.place import rounded
from vision.findings.weigh import Weight
from vision.types import Region

#: Group of details -> kind of finding. Narrow sides have a finding of their own, weighed by the classifier.
KIND_OF = {"joint": "joint", "fitting": "fitting", "damage": "damage"}
NOT_WEIGHED = "Shown, not weighed."


def detail_draft(detail: Detail, ctx: PanelContext, pair: tuple[str, str]) -> Draft | None:
    """Draft for a detail of the panel of `ctx`, None for groups that have findings of their own. `pair`: the two classes that
    the panel's open question lies between."""
    if detail.group not in KIND_OF:
        return None
    where = Region(ctx.panel.photo, ctx.panel.id, "polygon", rounded(detail.outline))
    return Draft(KIND_OF[detail.group], (where,), Weight(*pair, 0.0), f"{detail.text} {detail.meaning} {NOT_WEIGHED}")

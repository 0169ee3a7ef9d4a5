"""Which figures the judging layout net never sees."""

from __future__ import annotations

from collections.abc import Sequence

FOLDS = 3
#: Folds for which a net is taught that never sees them.
JUDGED = (0,)


def fold_of(group: str, groups: Sequence[str]) -> int:
    """Fold of who took a figure, by place among all of the part 'tune'; -1 for made-up logs."""
    return list(groups).index(group) % FOLDS if group in groups else -1

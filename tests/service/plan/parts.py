"""Parts for tests of plans: made up, of every face."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from service.plan.types import OLD_FINISHES, Damage, Subject
from vision import registry

CORES = tuple(registry.CORES)


def subject(*faces: str, **more: Any) -> Subject:
    """A top of 1200 x 500 mm on any core, unless said otherwise."""
    given: dict[str, Any] = {"cores": CORES, "length_mm": 1200.0, "width_mm": 500.0, **more}
    return Subject(given.pop("id", "top"), given.pop("name", "Top"), given.pop("role", "top"), faces or ("veneer",),
                   given.pop("cores"), **given)


damages = st.lists(st.builds(Damage, st.sampled_from(list(registry.DETAILS["damage"])), st.sampled_from(list(registry.LEVELS)),
                             st.booleans()), max_size=2, unique_by=lambda d: d.kind).map(tuple)
subjects = st.builds(
    subject, st.sampled_from(list(registry.FACES)), damage=damages, patched=st.booleans(), sanded_through=st.booleans(),
    printed_graining=st.booleans(), bonded=st.sampled_from([None, True, False]), old_finish=st.sampled_from(list(OLD_FINISHES)),
    made_before_1978=st.sampled_from([None, True, False]), face_kind=st.sampled_from(["unknown", "modern", "hand_sawn"]),
    cores=st.sampled_from([CORES, ("particle_board",), ("lumber",)]),
)
open_subjects = st.builds(
    lambda faces, s: subject(*faces, damage=s.damage, old_finish=s.old_finish, face_kind=s.face_kind),
    st.lists(st.sampled_from(list(registry.FACES)), unique=True, min_size=2, max_size=4), subjects,
)

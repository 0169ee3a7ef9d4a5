"""Which check to make next: what its answer is expected to tell, for the time it takes."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from service.hand.belief import WEIGHED, Fused
from service.hand.checks import SUBSTRATES, Check, Rules
from vision.next_gain import bits

#: A check that is expected to tell less than this is not asked for.
LEAST_BITS = 0.02
#: Added to the seconds of every check: walking round, finding the light.
OVERHEAD = 5.0


@dataclass(frozen=True)
class Worth:
    """`bits`: information expected about face and core; `a_minute`: the same for a minute of time."""

    check: Check
    bits: float
    a_minute: float


def expected_bits(check: Check, fused: Fused, rules: Rules) -> float:
    """Mutual information between the answer and what the part is made of, as far as its group has not told it already."""
    p = np.array([fused.substrates[s] for s in SUBSTRATES])
    told = {rules.checks[w.check].group if w.check != WEIGHED else "mass" for w in fused.weights}
    found = bits(p, check.table)
    if check.group in told:
        found *= rules.within_group
    elif not check.decisive and set(check.photo_cues) & set(fused.start.cues):
        found *= rules.seen_on_photo
    return found


def settled(fused: Fused) -> bool:
    """Whether nothing is left to ask: the face is named, and so is the core unless the face is the board itself."""
    return fused.face is not None and (fused.face in ("solid_wood", "not_wood") or fused.core is not None)


def next_checks(
    fused: Fused, role: str, rules: Rules, *, answered: Collection[str] = (), skip: Collection[str] = ()
) -> tuple[Worth, ...]:
    """Checks still worth making on a part, most information a minute first; none where it is settled.

    `answered`: checks that have had an answer, "cannot say" among them; `skip`: checks that cannot be made here.
    """
    if settled(fused):
        return ()
    done = set(answered) | set(skip) | {w.check for w in fused.weights}
    found = []
    for check in rules.checks.values():
        if check.key in done or role not in check.roles:
            continue
        told = expected_bits(check, fused, rules)
        if told >= LEAST_BITS:
            found.append(Worth(check, told, told * 60 / (check.seconds + OVERHEAD)))
    return tuple(sorted(found, key=lambda w: -w.a_minute))


def best_pair(
    parts: Mapping[str, tuple[Fused, str, Collection[str]]], exposure: Mapping[str, float], rules: Rules
) -> tuple[str, Worth] | None:
    """(part, check) worth most next over all parts; `parts`: id -> (belief, role, answered); None where nothing is worth it."""
    found: Sequence[tuple[str, Worth]] = [
        (part, w) for part, (fused, role, answered) in parts.items()
        for w in next_checks(fused, role, rules, answered=answered)[:1]
    ]
    return max(found, key=lambda pw: pw[1].a_minute * exposure.get(parts[pw[0]][1], 1.0), default=None)

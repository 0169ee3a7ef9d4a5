"""Which notes of safety the work ahead calls for. What is not known counts as the worse case."""

from __future__ import annotations

from collections.abc import Collection

from service.plan.types import HAZARDS
from service.safety.rules import AGES, ANY, OTHER, Note, Rules, When, rules
from vision import registry
from vision.errors import UsageError


def known_place(where: str, book: Rules | None = None) -> str:
    """`where` itself, if it is OTHER or a place with rules.

    Raises
    ------
    UsageError
        if it is neither.
    """
    places = (rules() if book is None else book).places
    if where != OTHER and where not in places:
        raise UsageError("where", f"{where!r} is no place with rules.", "Use one of: " + ", ".join([*places, OTHER]) + ".")
    return where


def age_that_counts(where: str, made_before_1978: bool | None, book: Rules | None = None) -> bool | None:
    """The age as lead is judged by it: made after 1978 counts as not known (None) where 1978 is not the line.

    Raises
    ------
    UsageError
        if the place is not known.
    """
    book = rules() if book is None else book
    return made_before_1978 if made_before_1978 or known_place(where, book) in book.line_of_1978 else None


def _known(found: Collection[str], known: Collection[str], what: str) -> None:
    if unknown := sorted(set(found) - set(known)):
        raise UsageError(what, f"{', '.join(unknown)} is not known.", "Use one of: " + ", ".join(known) + ".")


def _holds(when: When, age: str, cores: Collection[str], roles: Collection[str]) -> bool:
    """Whether a condition holds; no cores or roles given means that they are not known, and then it does."""
    return ((not when.ages or age in when.ages)
            and (not when.cores or not cores or bool(set(cores) & set(when.cores)))
            and (not when.roles or not roles or "unknown" in roles or bool(set(roles) & set(when.roles))))


def notes(
    hazards: Collection[str], *, where: str, made_before_1978: bool | None = None, cores: Collection[str] = (),
    roles: Collection[str] = (), book: Rules | None = None,
) -> tuple[Note, ...]:
    """Notes for these hazards, worst first: those that hold everywhere and those of the chosen place, never another's.

    `hazards`: keys of HAZARDS; `where`: key of Rules.places or OTHER; `made_before_1978`: of the piece and its finish, None: not
    known, and then taken as old; False counts only where 1978 is the line (Rules.line_of_1978), elsewhere it is not known either;
    `cores`: keys of registry.CORES that may be there, `roles`: of registry.ROLES, of all parts worked on, empty: not known.

    Raises
    ------
    UsageError
        if a hazard, place, core or role is not known.
    """
    book = rules() if book is None else book
    known_place(where, book)
    _known(hazards, HAZARDS, "hazards")
    _known(cores, registry.CORES, "cores")
    _known(roles, registry.ROLES, "roles")
    age = AGES[age_that_counts(where, made_before_1978, book)]
    return tuple(note for note, when in book.notes if note.hazard in hazards and note.jurisdiction in (ANY, where)
                 and _holds(when, age, cores, roles))

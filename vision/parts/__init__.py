"""From judged panels to parts of the piece: which role a panel plays, which sightings show one part, and their fusion."""

from vision.parts.boards import find_parts
from vision.parts.fuse import Sighting, fuse, substrate_prior
from vision.parts.roles import guess_roles

__all__ = ["Sighting", "find_parts", "fuse", "guess_roles", "substrate_prior"]

"""From judged panels to parts of the piece: which role a panel plays, which sightings show one part, and their fusion."""

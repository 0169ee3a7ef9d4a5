"""Three minutes beside a piece: the gate, then the checks that tell most, until it is settled, spoilt or the time is over."""

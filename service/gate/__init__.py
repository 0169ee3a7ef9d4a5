"""The gate: what to rule out on a piece before any talk of money."""

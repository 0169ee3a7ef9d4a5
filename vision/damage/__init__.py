"""Damage that changes the plan: where it is, of what kind, how bad, and what shows beneath."""

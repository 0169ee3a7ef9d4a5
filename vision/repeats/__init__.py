"""Repeats: the same figure seen again within a panel, on another panel, or on another photo."""

"""How much sanding a thin face stands: chances of sanding through, and the gentlest way to a goal."""

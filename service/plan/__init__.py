"""From verdict to plan: routes that a part allows, steps, what can go wrong, materials, days."""

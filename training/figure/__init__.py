"""Where the figure of wood, print, paint and raw board comes from: numpy fields in millimetres, no renderer.

Solid boards, veneer leaves and printed faces all draw on the same `Log` field, at the same sampling and texture
resolution, so that nothing but their true differences (continuity over the arris, leaf layout, print repeat, inks,
relief) tells them apart.
"""

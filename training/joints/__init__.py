"""Pictures of joints, fittings, holes and backs with known geometry, and of things that only look like them.

`make.make_joint` gives a picture and its truth by name and seed; `kinds` lists what can be made.
"""

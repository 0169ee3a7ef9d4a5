"""Pictures of panel corners with known structure: face, long edge and end seen at once, cut from one field in space.

`make.make_edge` gives a picture and its truth; `kinds` names what can be made and the traps that only look like edges.
"""

"""Rendered training photographs: furniture as geometry, wood as a field, a phone as the camera, the truth beside every picture.

How a picture comes about
-------------------------
`shoot.order_pieces` draws pieces (seed, style, kind; some come as three twins: same geometry, figure and light as solid
wood, veneer and print). `construction.Workshop` decides what every role is made of and cuts its slabs from `training.figure`;
`furniture` puts the slabs in space; `room` adds floor, walls, clutter and lamps; `camera` finds a place for the phone and
works out what every pixel sees; `stage` (the only file that imports Mitsuba) renders the light with a lens of a phone's
aperture; `phone` turns it into a JPEG; `truth` writes outlines, classes, view, grain direction, leaf layout, print repeat
and scale. `render` is the command for sets, `samples` the one for the demonstration photos. Settings: config/scenes.toml.

Files of a picture: NAME.jpg, NAME_id.png (8 bit: 1..199 a panel's id, 200.. background classes, 0 nothing that is judged)
and NAME.json (`truth.load_truth` reads a folder). `to_photo` takes (mm along the texture's columns, mm along its rows, 1)
to pixels; the grain of faces, and of banded or solid edges, runs along the first axis.

What these pictures are not
---------------------------
All parts are boxes with slightly rounded arrises: no mouldings, turnings, carving or curved fronts; no dovetails, screw
holes, swelling, chips, lifted veneer or worn-through finish. Wood settings are plausible values, not measurements; colours
and gloss are one value a part. Raw board faces and edges are drawn, not simulated. Rooms are two or three walls and boxes.
The phone is a model with a few numbers, with neither lens flare, rolling shutter nor a maker's own processing. Relief is
used as surface slope in close views only. A classifier taught on these alone will find real photos strange: measure how
well a feature tells render from photo, and calibrate on real specimens wherever there are enough.
"""

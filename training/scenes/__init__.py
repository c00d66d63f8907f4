"""Ray-traced photos of wing ribs in a workshop, with exact labels of every straight line that matters.

World frame, mm: X to the right in the photo, Y away from the camera, Z up, gravity along -Z. The main rib's face is the
plane Y = 0, turned by its lean about X. Angles in degrees, nose-up positive. Pixels: the first pixel's centre is (0, 0).
`python -m training.scenes OUT --seed S --wings N` writes whole wings. Needs Mitsuba 3 and mapbox_earcut.
"""

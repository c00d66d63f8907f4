"""Draws photos of wing ribs in a shop, fast, with exactly known angles.

    from shop import Scene, draw
    bgr, truth = draw(Scene(seed=3))

World frame, millimetres: X to the right in the photo, Y away from the camera, Z up, gravity along -Z.
The rib face is the plane Y = 0, turned about X where it leans. The camera stands outboard of the rib.
Geometry is exact to a few thousandths of a pixel; light and materials are only plausible.
"""

from shop.camera import PHONE, PHONE_12, Camera
from shop.draw import Truth, draw
from shop.scene import Bar, Board, CardAt, Cord, Laser, Line, Pen, RibBehind, Scene, Spot, String

__all__ = [
    "PHONE",
    "PHONE_12",
    "Bar",
    "Board",
    "Camera",
    "CardAt",
    "Cord",
    "Laser",
    "Line",
    "Pen",
    "RibBehind",
    "Scene",
    "Spot",
    "String",
    "Truth",
    "draw",
]

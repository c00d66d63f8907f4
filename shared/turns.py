"""Angles of undirected lines. In a module of its own, which loads nothing: job files are read before anything heavy is."""

from __future__ import annotations


def wrap_half_turn(angle_deg: float) -> float:
    """The angle of an undirected line, brought to [-90, 90) degrees.

    angle_deg : any finite angle, degrees.

    >>> wrap_half_turn(179.0), wrap_half_turn(90.0)
    (-1.0, -90.0)
    """
    return (angle_deg + 90.0) % 180.0 - 90.0

"""Lens, level reference, inclinometer and print scale: makes, keeps and doubts their profiles."""

"""Inclinometer readings as people write them."""

"""Station cards: found, named, their corners and edges placed; which station they stand for."""

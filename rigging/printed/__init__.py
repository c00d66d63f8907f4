"""Printed matter at true scale: station cards, reference marks, tags, lens board, and how to use them."""

"""Lengths and angles in the plane of a card: features found or pointed at, values with budgets."""

"""The print of the cards: scale and shape."""

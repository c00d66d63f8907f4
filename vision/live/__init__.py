"""A camera that stands still: how far a rib has turned since its first photo."""

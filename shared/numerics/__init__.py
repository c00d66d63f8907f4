"""Saddle fits, sums and ranks that several rooms use."""

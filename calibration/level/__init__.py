"""The level reference: zero error by reversal, checks."""

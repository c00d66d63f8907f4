"""The inclinometer: log, fit, profile, sense."""

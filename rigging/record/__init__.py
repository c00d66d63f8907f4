"""The append-only record of surveys: kept, verified, compared."""

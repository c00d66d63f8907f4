"""The order of the set-up: what hangs on what, how far it has come, and what comes next."""

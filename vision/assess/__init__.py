"""Whether a reading is to be believed: gates, consistency, advice, and what the overlay shows of it."""

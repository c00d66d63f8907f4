"""Camera against inclinometer: agreement, and what the pattern of differences means."""

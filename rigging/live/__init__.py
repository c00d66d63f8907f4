"""Live setting and the watch through the cure."""

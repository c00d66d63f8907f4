"""Training of the line recogniser, and the simulators it learns from. The four rooms never import it."""

"""The joint least-squares solution: unknowns, equations, solver, propagation to angles."""

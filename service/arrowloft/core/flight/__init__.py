"""How a shot flies: frames, motion, solvers, aim, impacts, paths."""

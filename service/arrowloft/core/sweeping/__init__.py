"""Many set-ups at once: grids, draws, what each does at some distances, and quantiles."""

"""The flight of an arrow that is more than a point mass."""

"""Sweeps: grids and samples over any numbers of a request."""

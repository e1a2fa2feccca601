"""Fits of models to measured flights at the edge."""

"""Models side by side: one set-up flown with each launch model and each drag model."""

"""Resources of single flights."""

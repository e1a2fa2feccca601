"""Resources of the sight: marks, pins, its window, slopes, wind, other set-ups."""

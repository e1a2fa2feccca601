"""What the sight does: marks, pins, its window, slopes, wind and other set-ups."""

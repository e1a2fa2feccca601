"""Models fitted to measured flights, judged, and ranked against each other."""

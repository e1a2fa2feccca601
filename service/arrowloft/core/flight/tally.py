"""How many flights were solved: read by whoever wants to know what a computation took."""

import threading


class _Thread(threading.local):
    lanes: int = 0


TALLY = _Thread()
"""lanes: flights that this thread has solved, those that are refined once more each time."""

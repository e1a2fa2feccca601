"""Property tests try the same cases every time; ARROWLOFT_EXPLORE=1 lets them look for new ones."""

import os

from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None, max_examples=500)
settings.load_profile("explore" if os.environ.get("ARROWLOFT_EXPLORE") else "same")

"""Two models for arrowloft; nobody imports them: the service finds them by their entry points."""

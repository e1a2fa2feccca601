"""How level the bow is held."""

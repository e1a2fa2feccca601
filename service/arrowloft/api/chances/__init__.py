"""What errors do to the impact, and how likely it hits."""

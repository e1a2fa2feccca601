"""What the arrow passes on its way."""

"""What is shot: bow, arrow, air and gravity, side by side as a `Shot`."""

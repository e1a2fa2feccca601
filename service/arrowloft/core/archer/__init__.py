"""How an archer's arrows scatter."""

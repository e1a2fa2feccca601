"""An archer's arrows in requests and replies: groups, and where arrows landed."""

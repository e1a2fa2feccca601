"""Where arrows land that miss or are loosed wrong."""

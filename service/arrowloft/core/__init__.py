"""Flight and geometry in SI floats and arrays; knows no JSON, unit, clock or file."""

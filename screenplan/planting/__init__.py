"""Where plants stand and how they grow: zones, lines, patterns, species, growth."""

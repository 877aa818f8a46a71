"""Works: what the crew does, with which material, when and for how much."""

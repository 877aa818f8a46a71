"""Plan a living screen along a boundary."""

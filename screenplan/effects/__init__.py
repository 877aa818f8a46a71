"""What the screen does to others: light, roads, lines and pipes, boundary, noise, health."""

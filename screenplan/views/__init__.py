"""What is screened: rays, crowns, obstacles, the kernel and its results."""

"""The design: which plants close the views that matter for the least money, and what is proven of it."""

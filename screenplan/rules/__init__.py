"""Every limit as data: rule sets, their sources, and which of them apply."""

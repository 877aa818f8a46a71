"""The steps and their order: the registry, one step on its own, a whole plan, what is written of it."""

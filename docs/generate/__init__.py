"""Makes the pages of ``docs/reference/`` from the code, so that they cannot say something else."""

"""Makes the pages that show what the program does: commands are run, pictures drawn, notebooks executed."""

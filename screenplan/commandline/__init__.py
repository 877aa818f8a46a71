"""What the commands do and show; `screenplan.commandline.main` only reads their options."""

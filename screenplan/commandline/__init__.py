"""What the commands do and show; `screenplan.cli` only reads their options."""

"""Run the command line as ``python -m screenplan``."""

from screenplan.cli import main

main(prog_name="screenplan")

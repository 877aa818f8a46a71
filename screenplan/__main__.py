"""Run the command line as ``python -m screenplan``."""

from screenplan.commandline.main import main

main(prog_name="screenplan")

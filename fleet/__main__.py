"""Run the command line as ``python -m fleet``."""

from fleet.cli.main import main

main()

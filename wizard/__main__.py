"""`python -m wizard` is `dropwalk`."""

from wizard.cli import main

main()

"""`python -m busim`: the command line."""

from busim.cli import main

main()

"""``python -m cuelane``: the command line, where its own program is not on the path."""

from cuelane.cli import main

if __name__ == "__main__":
    main()

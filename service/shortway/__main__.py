"""``python -m shortway``: the command line."""

from shortway.cli import main

if __name__ == "__main__":
    main()

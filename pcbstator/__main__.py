"""``python -m pcbstator`` is the command line."""

from pcbstator.cli import main

if __name__ == "__main__":
    main()

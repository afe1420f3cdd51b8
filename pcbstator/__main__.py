"""``python -m pcbstator``."""

from pcbstator.cli import main

if __name__ == "__main__":
    main()

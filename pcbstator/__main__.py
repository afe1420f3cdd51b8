"""``pcbstator`` and ``python -m pcbstator``: the command line. Ctrl-C is heeded before anything large is imported."""

from pcbstator.interrupts import INTERRUPTED, Interrupts, leave_at_once


def main() -> None:
    """Run a command."""
    interrupts = Interrupts()
    interrupts.heed()
    try:
        from pcbstator.cli.commands import main as run

        run()
    except SystemExit as leaving:
        if interrupts.count:  # Python's own way out might still end as if killed by the signal
            leave_at_once(told=leaving.code == INTERRUPTED)
        raise
    except BaseException:
        if not interrupts.count:
            raise
        leave_at_once()


if __name__ == "__main__":
    main()

"""``python -m matchkit``, and the command `matchkit`."""

import sys


def run() -> int:
    """The command line; Ctrl-C while it still loads ends as quietly as later."""
    try:
        from matchkit.cli import main

        return main()
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(run())

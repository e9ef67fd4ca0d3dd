"""`python -m preplan` is the command `preplan`, and this its entry: a Ctrl-C is quiet from the first moment on."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; what it imports takes a third of a second, in which somebody may stop it."""
    try:
        from preplan import cli  # noqa: PLC0415 - within the try, so that stopping it prints no traceback

        cli.main()
    except KeyboardInterrupt:
        from preplan.errors import EXIT_STOPPED, STOPPED  # noqa: PLC0415 - the same

        sys.stderr.write(STOPPED + "\n")
        sys.exit(EXIT_STOPPED)


if __name__ == "__main__":
    main()

"""`python -m preplan` is the command `preplan`."""

from __future__ import annotations

from preplan.cli import main

if __name__ == "__main__":
    main()

"""`python -m thinstock` is the command line."""

from __future__ import annotations

from thinstock.cli import main

if __name__ == "__main__":
    main()

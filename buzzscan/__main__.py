"""Lets `python -m buzzscan` run the command line.

Conventions
-----------
As `buzzscan.cli`.

Limits
------
Nothing but the call.
"""

from buzzscan.cli import main

if __name__ == "__main__":
    main(prog_name="buzzscan")

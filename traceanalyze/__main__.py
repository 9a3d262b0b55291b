"""The program: `traceanalyze` and `python -m traceanalyze`."""

import os
import sys


def main() -> None:
    """Run the command line of this process and exit with its status."""
    # The arrays here are small: more threads of numpy's linear algebra would mostly wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from traceanalyze.cli.app import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()

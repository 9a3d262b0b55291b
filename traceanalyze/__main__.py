"""The program: `traceanalyze` and `python -m traceanalyze`."""

import os
import sys


def main() -> None:
    """Run the command line of this process and exit with its status."""
    # The arrays here are small: more threads of numpy's linear algebra would mostly wait for each other. To be set
    # before numpy is loaded.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    from traceanalyze.cli.app import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()

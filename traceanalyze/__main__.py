"""The program: `traceanalyze` and `python -m traceanalyze`."""

import gc
import os
import sys

#: Objects made between two searches for cycles. Results are many and hold none, so the interpreter's own few hundred
#: cost 5 % of a plain run and 10 % of one with a picture; a picture's cycles (some MB) are still freed before the next.
_BETWEEN_SEARCHES = 20_000


def main() -> None:
    """Run the command line of this process and exit with its status."""
    # The arrays here are small: more threads of numpy's linear algebra would mostly wait for each other. To be set
    # before numpy is loaded.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    gc.set_threshold(_BETWEEN_SEARCHES)
    from traceanalyze.cli.app import run

    status = run(sys.argv[1:])
    gc.freeze()  # or the interpreter searches everything at its end, only to be gone
    sys.exit(status)


if __name__ == "__main__":
    main()

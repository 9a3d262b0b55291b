"""The program: `traceanalyze` and `python -m traceanalyze`."""

import os
import os
import sys

#: The matrices here are small: several threads on one of them cost far more than they save, and a day's logs are read
#: by several processes anyway. To be set before numpy is loaded.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")


def main() -> None:
    """Run the command line of this process and exit with its status."""
    # The arrays here are small: more threads of numpy's linear algebra would mostly wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from traceanalyze.cli.app import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()

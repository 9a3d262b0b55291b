"""The program: `traceanalyze` and `python -m traceanalyze`."""

import sys


def main() -> None:
    """Run the command line of this process and exit with its status."""
    from traceanalyze.cli.app import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()

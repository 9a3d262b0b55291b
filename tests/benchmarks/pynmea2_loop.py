"""The rival in the benchmarks of NMEA: a log read line by line with pynmea2, as its documentation shows.

    python -m tests.benchmarks.pynmea2_loop FILE

Every sentence is parsed, its checksum verified, and the fields that a trace holds are read as numbers: pynmea2 turns
text into numbers when a field is asked for, so a loop that only parses (about a third of the time) has read nothing.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pynmea2

#: The fields read of each sentence type.
FIELDS = {
    "RMC": ("timestamp", "datestamp", "latitude", "longitude", "status", "spd_over_grnd", "true_course"),
    "GGA": ("timestamp", "latitude", "longitude", "gps_qual", "altitude", "horizontal_dil", "num_sats"),
    "VTG": ("spd_over_grnd_kts", "true_track"),
}


def pynmea2_loop(path: Path) -> list[tuple[object, ...]]:
    """Return what the sentences of a log say; damaged ones are passed over."""
    out: list[tuple[object, ...]] = []
    with path.open(encoding="ascii", errors="replace") as file:
        for line in file:
            try:
                found = pynmea2.parse(line, check=True)
                if names := FIELDS.get(found.sentence_type):
                    out.append(tuple([getattr(found, name) for name in names]))
            except (pynmea2.ParseError, ValueError, TypeError, AttributeError):
                continue
    return out


if __name__ == "__main__":
    pynmea2_loop(Path(sys.argv[1]))

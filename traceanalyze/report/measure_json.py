"""The JSON document of `measure`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from traceanalyze import __version__
from traceanalyze.results import RunSheet

SCHEMA = "traceanalyze.measure/1"


def measure_document(sheets: Iterable[RunSheet]) -> dict[str, Any]:
    """Return the whole document, SI units, null for what the logs cannot tell."""
    return {"schema": SCHEMA, "version": __version__, "files": [sheet.to_dict() for sheet in sheets]}

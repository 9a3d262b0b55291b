"""What the run book tells other programs: one JSON document for each command; SI units, null for what is unknown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from traceanalyze.book.overview import SetupSummary
from traceanalyze.book.reading import BookRun
from traceanalyze.book.records import plain
from traceanalyze.book.store import Added
from traceanalyze.judge.scatter import OwnScatter
from traceanalyze.results import number
from traceanalyze.trace import utc_text
from traceanalyze.units import Measure


def added_document(logs: Sequence[Added], refused: Sequence[str]) -> dict[str, Any]:
    """Return what became of each log."""
    rows = [asdict(log) | {"setups": list(log.setups), "dates": list(log.dates)} for log in logs]
    return {"schema": "traceanalyze.book-add/1", "logs": rows, "refused": list(refused)}


def list_document(setups: Sequence[SetupSummary], start_rule: str, window: str) -> dict[str, Any]:
    """Return every setup with its runs and means."""
    rows = [one.to_dict() for one in setups]
    return {"schema": "traceanalyze.book-list/1", "start_rule": start_rule, "window": window, "setups": rows}


def show_document(runs: Sequence[BookRun]) -> dict[str, Any]:
    """Return every run with everything measured but its curve."""
    return {"schema": "traceanalyze.book-show/1", "runs": [_run(one) for one in runs]}


def _run(one: BookRun) -> dict[str, Any]:
    content: dict[str, Any] = plain(one.run) | {
        "file": one.file,
        "sha256": one.log.sha256,
        "order": one.order,
        "direction": one.direction or None,
        "start_utc": utc_text(one.run.utc_s) if one.run.utc_s is not None else None,
        "left_out": one.run.left_out or None,
    }
    del content["curve"]
    return content


def scatter_document(measure: Measure, found: OwnScatter | None, start_rule: str, window: str) -> dict[str, Any]:
    """Return the rider's own scatter; null when nothing repeats."""
    top = measure.kind == "top speed"
    return {
        "schema": "traceanalyze.book-scatter/1",
        "measure": measure.label,
        "start_rule": start_rule if measure.from_rest else None,
        "window": window if top else None,
        "unit": "m/s" if top else "s",
        "scatter": number(found.sd) if found else None,
        "stderr": number(found.sd / math.sqrt(2 * found.df)) if found else None,
        "df": number(found.df) if found else 0.0,
    }

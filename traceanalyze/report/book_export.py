"""The run book as text for other programs: JSON with everything in it, CSV with the results."""

from __future__ import annotations

import json
from typing import Literal

from traceanalyze.book.exchange import RESULT_TABLE, book_document, result_rows
from traceanalyze.book.opening import Book
from traceanalyze.report.cells import csv_text


def export_text(book: Book, kind: Literal["json", "csv"]) -> str:
    """Return the book as one JSON document (`book import` reads it back exactly), or its results as a CSV table.

    Raises
    ------
    BookError
        If the book holds what cannot be.
    """
    if kind == "csv":
        return csv_text(RESULT_TABLE, result_rows(book))
    return json.dumps(book_document(book), indent=1, ensure_ascii=True, allow_nan=False) + "\n"

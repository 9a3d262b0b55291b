"""One self-contained page to read, share and print: works offline, with scripts off, on a phone and on paper."""

from traceanalyze.report.page.pages import (
    compare_page,
    day_page,
    measure_page,
    write_compare_page,
    write_measure_page,
)

__all__ = ["compare_page", "day_page", "measure_page", "write_compare_page", "write_measure_page"]

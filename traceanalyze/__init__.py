"""Did the part make it quicker? Launch times and top speeds from GPS logs, each with its uncertainty.

    import traceanalyze as ta

    sheet = ta.measure(ta.read("ride.nmea"))
    print(sheet)

What holds everywhere: numbers are SI (metres, seconds, metres a second) and their names end in the unit
(`speed_mps`); what is missing is NaN (null in JSON), never 0; every estimate carries its standard uncertainty and the
interval that is right 95 times in 100; results are frozen, print themselves, and give `to_dict` and `to_frame`.
Errors raised on purpose are all `TraceError`.

Names are loaded when first used, so that `import traceanalyze` costs nothing; pandas, matplotlib and scipy are
loaded only inside the functions that need them.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from traceanalyze.comparison import Comparison as Comparison
    from traceanalyze.errors import FormatError as FormatError
    from traceanalyze.errors import InputError as InputError
    from traceanalyze.errors import SignalError as SignalError
    from traceanalyze.errors import TraceError as TraceError
    from traceanalyze.errors import UsageError as UsageError
    from traceanalyze.judge.logs import compare as compare
    from traceanalyze.judge.planning import plan_runs as plan_runs
    from traceanalyze.judge.table import compare_table as compare_table
    from traceanalyze.library import measure as measure
    from traceanalyze.library import overlay as overlay
    from traceanalyze.parsers import read as read
    from traceanalyze.parsers import read_all as read_all
    from traceanalyze.parsers.options import ReadOptions as ReadOptions
    from traceanalyze.results import Estimate as Estimate
    from traceanalyze.results import Launch as Launch
    from traceanalyze.results import Pass as Pass
    from traceanalyze.results import RunSheet as RunSheet
    from traceanalyze.session import Asked as Asked
    from traceanalyze.session import measure_files as measure_files
    from traceanalyze.simulate.logs import make_log as make_log
    from traceanalyze.simulate.logs import recipe_of as recipe_of
    from traceanalyze.trace import Trace as Trace
    from traceanalyze.units import parse_measure as parse_measure

__version__ = "0.1.0"

#: Where each public name lives.
_HOMES = {
    "Asked": "session", "Comparison": "comparison", "Estimate": "results", "FormatError": "errors",
    "InputError": "errors", "Launch": "results", "Pass": "results", "ReadOptions": "parsers.options",
    "RunSheet": "results", "SignalError": "errors", "Trace": "trace", "TraceError": "errors", "UsageError": "errors",
    "compare": "judge.logs", "compare_table": "judge.table", "make_log": "simulate.logs", "measure": "library",
    "measure_files": "session", "overlay": "library", "parse_measure": "units", "plan_runs": "judge.planning",
    "read": "parsers", "read_all": "parsers", "recipe_of": "simulate.logs",
}  # fmt: skip

__all__ = ["__version__", *sorted(_HOMES)]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'traceanalyze' has no attribute {name!r}")
    return getattr(import_module(f"traceanalyze.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(_HOMES))

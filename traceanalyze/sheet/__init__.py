"""The day sheet, written by hand: which log belongs to which setup, on which machine, under which conditions."""

from traceanalyze.sheet.nouns import Conditions, Day, DaySheet, Setup, Skip, Vehicle
from traceanalyze.sheet.reading import read_sheet
from traceanalyze.sheet.starting import FoundLog, new_sheet_text

__all__ = ["Conditions", "Day", "DaySheet", "FoundLog", "Setup", "Skip", "Vehicle", "new_sheet_text", "read_sheet"]

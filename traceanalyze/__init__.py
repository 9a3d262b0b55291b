"""Did the part make it quicker? Launch times and top speeds from GPS logs, each with its uncertainty."""

__version__ = "0.1.0"

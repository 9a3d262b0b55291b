"""Bytes of a log -> Trace."""

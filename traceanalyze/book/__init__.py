"""The run book: results kept in one embedded database file."""

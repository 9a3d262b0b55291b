"""Results -> text, page, tables and files for other programs."""

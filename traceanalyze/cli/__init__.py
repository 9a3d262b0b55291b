"""Words on a command line -> one call -> printed lines and an exit status."""

"""Results of several runs -> a verdict that says how sure it is."""

"""Where in a trace something happens: motion, launches, passes, coast-downs."""

"""A found stretch -> results with their uncertainty."""

"""Rides with exactly known truth -> the logs a receiver would have written."""

"""Arrays of samples -> arrays: time base, geodesy, noise, smoothing, cleaning."""

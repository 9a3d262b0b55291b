"""Results and axes -> drawn axes; nothing is computed here."""

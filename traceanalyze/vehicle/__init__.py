"""Facts of the machine and the air -> physics."""

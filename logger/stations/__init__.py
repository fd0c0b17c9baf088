"""Find the sensors, check them, calibrate them."""

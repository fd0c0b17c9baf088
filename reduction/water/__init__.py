"""Where she floats and what the water makes of it: waterline, density, hull, hydrostatics, tanks."""

"""Acquisition: source -> framing -> decode -> channel -> archive; and the events of the day."""

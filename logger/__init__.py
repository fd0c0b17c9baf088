"""Acquisition: source -> byte queue -> framing -> dialect -> record; and the marks of the day."""

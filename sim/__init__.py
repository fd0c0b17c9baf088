"""The truth machine: synthetic test days with known answers, and the wire that carries them to the logger."""

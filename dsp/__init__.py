"""Pure mathematics on arrays: the mean heel of a window, its interval, and what spoilt it."""

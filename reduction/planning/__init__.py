"""Before the day: what a plan must hold, and the interval to expect."""

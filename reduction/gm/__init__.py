"""GM of a day: which windows count, line and curve, interval and budget."""

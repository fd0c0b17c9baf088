"""From windows to GM, KG and lightship, with a budget of every interval, and the report."""

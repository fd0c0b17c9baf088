"""What the answer says: limits, procedure, the headline and what to do next."""

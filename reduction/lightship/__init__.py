"""From as inclined to lightship: survey, one measurement model, budget by the GUM and by random draws."""

"""A recorded day played again, at any speed, through the same view and page as the day itself."""

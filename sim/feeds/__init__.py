"""The wire itself: ports and topics on which a synthetic day speaks to a real logger."""

from sim.feeds.feed import Feed, open_feed
from sim.feeds.pace import Clock, due_marks

__all__ = ["Clock", "Feed", "due_marks", "open_feed"]

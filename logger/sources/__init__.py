"""Sources: each opens one thing, stamps what comes out and says when it is lost. Retrying is the supervisor's."""

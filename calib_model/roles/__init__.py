"""Which table plays which part of the controller: suggested, confirmed, and what comes along."""

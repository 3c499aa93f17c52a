"""Tables and sets as HTML."""

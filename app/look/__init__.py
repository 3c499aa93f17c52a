"""How the window looks: every colour, size and shape that is not data, in one place."""

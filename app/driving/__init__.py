"""Desk runs: what drives them beside the window, and the plots and lists that show them."""

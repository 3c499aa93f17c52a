"""The window and the command line of Bitepoint; everything that needs no screen is elsewhere."""

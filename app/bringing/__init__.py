"""Bring in: the page that shows what was understood of other files, before anything is taken."""

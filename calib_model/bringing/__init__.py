"""Bring in: tables out of files that others wrote, understood, shown, and taken as a set.

`understanding.understand` reads files (in a process with limits) and says what was understood;
`layout.Layout` holds what was chosen otherwise; `taking` makes a set of it, or one change of one.
"""

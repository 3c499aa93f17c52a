"""The lookup: what a controller reads from a table at a point."""

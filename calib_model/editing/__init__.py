"""Edits as values: changes with inverses, and the operations that make them."""

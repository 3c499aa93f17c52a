"""Shaping tools in the window: what they ask for, their preview, and applying it."""

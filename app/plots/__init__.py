"""Plots of the table in work: a curve, a map's slices, a heat map, and the panel around them."""

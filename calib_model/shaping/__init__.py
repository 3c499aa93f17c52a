"""Shaping: values that obey a table's own rules, computed as proposals.

Everything here is a pure function from a set to a `Proposal`: nothing is changed until the
proposal's change is applied.
"""

"""Complaints: what drivers told, the changes that answer them, the runs that prove it."""

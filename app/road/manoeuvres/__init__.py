"""Desk manoeuvres in Road: drive them, look at traces, path, estimates and sensitivity."""

"""The vehicle at the desk: a model of it, manoeuvres, and what is read off."""

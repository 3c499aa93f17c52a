"""Campaigns in Road: manoeuvres x sets x variations, and how the estimates spread."""

"""Evidence: recordings, their replay through the tables, and what they prove."""

"""The guide: pages on what one may want to do, and the first steps on the practice set."""

"""Work area Compare: two sets side by side."""

"""Exchange with other programs: CSV files and the blocks of text that spreadsheets copy."""

"""The grid: a table's cells as text, with exact editing by keyboard."""

"""The values: axes, tables and calibration sets; units and storage."""

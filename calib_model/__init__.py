"""Calibration tables for drivelines: values, rules, edits, comparison and files; no screen."""

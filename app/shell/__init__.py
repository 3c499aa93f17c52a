"""The main window: work areas, actions, files, background work, settings, looks."""

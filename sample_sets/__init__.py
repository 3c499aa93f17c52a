"""The invented demo programme Larch: its calibration sets, and the script that makes them.

Nothing here is measured on a vehicle; every value comes from a small physical argument that is
written beside it.
"""

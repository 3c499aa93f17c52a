"""What the work area Road will do, and what can be done today."""

TITLE = "Road"
COMING = (
    "Here recordings will be laid over the tables, to show which cells a drive has reached, and "
    "desk manoeuvres will show what an edit does to launch, wheel slip and reconnection."
)
NOW = (
    ("Look a table up cell by cell in Tune: the status line shows value and axis values.", ""),
    ("Print a table with its axes:", "bitepoint show SET.h5 TABLE"),
)

"""What the work area Release will do, and what can be done today."""

TITLE = "Release"
COMING = (
    "Here a set will be made ready to hand over: every open finding mended or waived with a "
    "reason, remarks answered, what changed since the last sign-off reviewed, and the set signed "
    "and exported."
)
NOW = (
    ("See the findings of the set in Tune, and its history under File, History.", ""),
    ("Check a set, for a build to act on the exit status:", "bitepoint check SET.h5"),
    ("Export every table:", "bitepoint export SET.h5 --to csv OUT"),
)

"""Work beside the window: jobs with a title (`jobs`), and questions of which the last counts
(`latest`).

Both run pure functions on snapshots in a thread, drop what is out of date, and tell a failure to
whoever asked; an unforeseen one goes to the crash dialog as well.  `jobs.end_all` ends all work.
"""

"""The command line: one module per verb.  Nothing here may load Qt."""

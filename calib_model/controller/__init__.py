"""The controller: its inputs, its torque law and what it commands, written once."""

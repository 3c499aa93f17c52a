"""The open document: the one mutable object, its undo, its findings and its journal."""

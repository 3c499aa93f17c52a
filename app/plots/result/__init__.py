"""What the controller commands in the end, over two inputs: set against set."""

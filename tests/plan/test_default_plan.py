"""The control plan that comes with the program says what the trade expects of it."""

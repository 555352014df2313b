"""One reading: its value, its uncertainty, its verdict. Pure: numbers in, frozen dataclasses out."""

"""Many readings: control charts and what they signal. Pure: numbers in, frozen dataclasses out."""

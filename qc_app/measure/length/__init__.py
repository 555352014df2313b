"""Lengths: exact values, what people type for them, and how they are printed."""

from qc_app.measure.length.display import format_deviation, format_length
from qc_app.measure.length.entry import LengthRefused, parse_length
from qc_app.measure.length.exact import Length, positive_inches

__all__ = ["Length", "LengthRefused", "format_deviation", "format_length", "parse_length", "positive_inches"]

"""The shape of a panel from tape readings of its sides and diagonals."""

from qc_app.measure.quadrilateral.squareness import Squareness, square_from_diagonals

__all__ = ["Squareness", "square_from_diagonals"]

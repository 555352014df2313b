"""The shape of a panel from tape readings of its sides and diagonals."""

from qc_app.measure.quadrilateral.shape import PanelShape, SquaringMove
from qc_app.measure.quadrilateral.slips import Suspect
from qc_app.measure.quadrilateral.solving import solve
from qc_app.measure.quadrilateral.squareness import Squareness, square_from_diagonals

__all__ = ["PanelShape", "Squareness", "SquaringMove", "Suspect", "solve", "square_from_diagonals"]

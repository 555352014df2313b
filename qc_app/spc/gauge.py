"""How good a measurement is: repeatability, reproducibility, bias, linearity and agreement.

Sources: AIAG, *Measurement Systems Analysis*, 4th edition; ISO 22514-7; R. K. Burdick, C. M. Borror, D. C.
Montgomery, *Design and Analysis of Gauge R&R Studies*.
"""

from qc_app.spc.agreement import Kappa, kappa, kappa_of_many, kappa_of_table
from qc_app.spc.crossed_study import Crossed, crossed
from qc_app.spc.gauge_components import Components
from qc_app.spc.linearity import Bias, Line, Linearity, bias, linearity, straight_line
from qc_app.spc.nested_study import Nested, nested

__all__ = [
    "Bias",
    "Components",
    "Crossed",
    "Kappa",
    "Line",
    "Linearity",
    "Nested",
    "bias",
    "crossed",
    "kappa",
    "kappa_of_many",
    "kappa_of_table",
    "linearity",
    "nested",
    "straight_line",
]

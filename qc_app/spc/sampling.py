"""How many bays to core: sampling plans from two points of the operating characteristic, and what they do.

Sources: ISO 2859, ISO 3951; NIST/SEMATECH e-Handbook of Statistical Methods, section 6.2; A. Wald,
*Sequential Analysis*, 1947; R. L. Perry, *Journal of Quality Technology* 5(3), 1973.
"""

from qc_app.spc.attribute_plan import AttributePlan, TwoPoints, attribute_plan
from qc_app.spc.sequential_plan import SequentialPlan, sequential_plan
from qc_app.spc.skipping import Progress, Skipping
from qc_app.spc.variables_plan import VariablesPlan, variables_plan

__all__ = [
    "AttributePlan",
    "Progress",
    "SequentialPlan",
    "Skipping",
    "TwoPoints",
    "VariablesPlan",
    "attribute_plan",
    "sequential_plan",
    "variables_plan",
]

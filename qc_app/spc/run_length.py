"""How often a chart signals falsely, how soon it finds a shift, and which chart finds it soonest."""

from qc_app.spc.chart_design import Choice, ShopTerms, design, in_shop_terms
from qc_app.spc.exact_run_length import cusum, ewma, shewhart
from qc_app.spc.run_length_distribution import RunLength

__all__ = ["Choice", "RunLength", "ShopTerms", "cusum", "design", "ewma", "in_shop_terms", "shewhart"]

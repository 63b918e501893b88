"""Facts to charts: `alt.Chart` out, and captions that say what each one shows.

Not here: arithmetic beyond layout, or anything of Streamlit; a page shows a chart, a report prints it. The
names below are public: `from pricing import charts`, then `charts.bands_chart(market.value(car))`.
"""

from pricing.charts.buying import bids_chart, limits_chart
from pricing.charts.depth import bands_through_time_chart
from pricing.charts.evidence import comparables_chart, index_chart
from pricing.charts.mending import budget_chart, comparison_chart
from pricing.charts.scores import coverage_chart, ratio_chart, width_chart
from pricing.charts.selling import proceeds_chart, reserve_chart, waiting_chart
from pricing.charts.valuation import bands_chart, distribution_chart, terms_chart

__all__ = [
    "bands_chart", "bands_through_time_chart", "bids_chart", "budget_chart", "comparables_chart",
    "comparison_chart", "coverage_chart", "distribution_chart", "index_chart", "limits_chart",
    "proceeds_chart", "ratio_chart", "reserve_chart", "terms_chart", "waiting_chart", "width_chart",
]  # fmt: skip

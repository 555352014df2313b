"""Pages for the quality manager and the shop lead: charts, files, people, instruments."""

from qc_app.web.quality import charts, files, shop

BLUEPRINTS = (charts.pages, files.pages, shop.pages)

"""Pages for the shop lead: the board, nonconformities, releases, loads."""

from qc_app.web.lead import board, loads, nonconformities, releases

BLUEPRINTS = (board.pages, nonconformities.pages, releases.pages, loads.pages)

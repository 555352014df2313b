"""Pages for the shop lead: the board, nonconformities."""

from qc_app.web.lead import board, nonconformities

BLUEPRINTS = (board.pages, nonconformities.pages)

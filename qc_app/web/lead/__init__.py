"""Pages for the shop lead: the board."""

from qc_app.web.lead import board

BLUEPRINTS = (board.pages,)

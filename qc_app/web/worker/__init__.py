"""Pages for the station worker: which station, what waits, what is due, log it."""

from qc_app.web.worker import lots, outbox, outbox_page, station, tablet

BLUEPRINTS = (station.pages, lots.pages, outbox.pages, tablet.pages, outbox_page.pages)

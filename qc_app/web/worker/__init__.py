"""Pages for the station worker: which station, what waits, what is due, log it."""

from qc_app.web.worker import instrument_check, lots, outbox, outbox_page, station, tablet

BLUEPRINTS = (
    station.pages,
    lots.pages,
    instrument_check.pages,
    outbox.pages,
    tablet.pages,
    outbox_page.pages,
)

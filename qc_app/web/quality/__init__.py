"""Pages for the quality manager and the shop lead: charts, files, people, instruments."""

from qc_app.web.quality import (
    charts,
    files,
    instruments,
    notices,
    outbox_file,
    plan,
    plan_draft,
    plan_move,
    shop,
    tablets,
)

BLUEPRINTS = (
    charts.pages,
    files.pages,
    shop.pages,
    instruments.pages,
    tablets.pages,
    notices.pages,
    outbox_file.pages,
    plan.pages,
    plan_draft.pages,
    plan_move.pages,
)

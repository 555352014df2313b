"""Pages for everyone: setting up, signing in, buildings and panels."""

from qc_app.web.everyone import (
    buildings,
    labels,
    language_choice,
    materials,
    offline,
    pin,
    setup,
    sign_in,
    trust,
    verify,
)

BLUEPRINTS = (
    setup.pages,
    sign_in.pages,
    buildings.pages,
    labels.pages,
    materials.pages,
    offline.pages,
    trust.pages,
    verify.pages,
    pin.pages,
    language_choice.pages,
)

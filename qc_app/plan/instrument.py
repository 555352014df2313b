"""The kinds of instrument a control plan may ask for."""

INSTRUMENT_KINDS = ("tape", "scale", "core_cutter", "moisture_meter")

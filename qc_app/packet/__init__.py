"""The handover packet: what a building's records prove and what is still open, as data and as a PDF."""

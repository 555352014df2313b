"""What must be checked: kinds of panel, stations, characteristics, targets, limits of tolerance, sampling.

Pure: a control plan comes in as a document and becomes frozen dataclasses. Readings are whole numbers of the
quantity's own grain (see ``quantity``), so a limit and a reading compare exactly.
"""

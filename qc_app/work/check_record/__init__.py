"""Checking the record: that every chain of events is whole, and that the tables say what the events say."""

from qc_app.work.check_record.anchor import Anchor, Head, read_anchor, write_anchor
from qc_app.work.check_record.whole import Progress, Result, check_record

__all__ = ["Anchor", "Head", "Progress", "Result", "check_record", "read_anchor", "write_anchor"]

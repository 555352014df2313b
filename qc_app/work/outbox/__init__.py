"""What the outboxes of tablets and browsers send: read, judged, stored and answered, entry by entry.

``batch`` reads what came, ``author`` says whose it is, ``take`` stores and answers, ``sequence`` watches for
what is missing.
"""

from qc_app.work.outbox.answer import Answer, State
from qc_app.work.outbox.batch import Batch, Malformed, read_batch
from qc_app.work.outbox.take import Taken, take

__all__ = ["Answer", "Batch", "Malformed", "State", "Taken", "read_batch", "take"]

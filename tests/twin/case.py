"""What one case is."""

from typing import Any

Case = dict[str, Any]
"""What is given and, as ``answer``, what follows; whole numbers beyond a float as text."""

from typing import Any

from wtforms import Field

class FileField(Field):
    data: Any

class FileRequired:
    def __init__(self, message: str | None = None) -> None: ...
    def __call__(self, form: Any, field: Field) -> None: ...

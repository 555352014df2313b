from typing import Any

from wtforms import Field, Form

class FlaskForm(Form):
    csrf_token: Field
    form_errors: list[str]
    def __init__(self, formdata: Any = ..., **kwargs: Any) -> None: ...
    def validate_on_submit(self) -> bool: ...

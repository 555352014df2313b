from flask import Flask
from werkzeug.exceptions import BadRequest

class CSRFProtect:
    def __init__(self, app: Flask) -> None: ...

class CSRFError(BadRequest): ...

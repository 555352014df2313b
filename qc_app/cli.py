"""The program from a terminal: ``qc-app serve`` and ``qc-app migrate``."""

import argparse
import os
import sys
from collections.abc import Sequence

from qc_app.records.database import Database, database_url
from qc_app.refusal import Refusal

DEFAULT_DATABASE = "qc.db"
LARGEST_BODY = 16 * 1024 * 1024


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs a command; returns its exit status."""
    options = _parser().parse_args(arguments)
    try:
        database = Database(database_url(options.database))
        database.migrate()
        if options.command == "serve":
            _serve(database, options.host, options.port)
    except Refusal as refusal:
        print(refusal, file=sys.stderr)
        return 2
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="qc-app", description="Quality log for timber panel shops.")
    commands = parser.add_subparsers(dest="command", required=True)
    serve = commands.add_parser("serve", help="bring the database up to date and serve the pages")
    serve.add_argument(
        "--host", default="127.0.0.1", help="address to listen on (default: this machine only)"
    )
    serve.add_argument("--port", type=int, default=8080, help="port to listen on (default: 8080)")
    migrate = commands.add_parser("migrate", help="bring the database up to date and stop")
    for command in (serve, migrate):
        command.add_argument(
            "--database",
            default=os.environ.get("QC_DATABASE", DEFAULT_DATABASE),
            help="an SQLite file or a PostgreSQL URL (default: QC_DATABASE from the environment, else qc.db)",
        )
    return parser


def _serve(database: Database, host: str, port: int) -> None:
    import waitress

    from qc_app.web import create_app

    app = create_app(database)
    print(f"Quality log at http://{host}:{port}/ (stop with Ctrl-C)", flush=True)
    try:
        waitress.serve(app, host=host, port=port, threads=8, ident="", max_request_body_size=LARGEST_BODY)
    finally:
        database.close()


if __name__ == "__main__":
    sys.exit(main())

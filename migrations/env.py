"""How Alembic connects, and how it writes our column types as plain SQLAlchemy."""

from __future__ import annotations

from typing import Any

from alembic import context
from sqlalchemy import Connection

import beadline.store.tables  # noqa: F401  (fills the metadata)
from beadline import settings
from beadline.store.base import Base
from beadline.store.engine import make_engine


def render_item(kind: str, thing: Any, _context: Any) -> str | bool:
    """Write one of our types as the SQLAlchemy type beneath it, so that no migration imports beadline."""
    if kind == "type" and type(thing).__module__.startswith("beadline."):
        name = type(thing).__name__
        return "sa.DateTime(timezone=True)" if name == "UtcDateTime" else "sa.LargeBinary()"
    return False


def run(connection: Connection) -> None:
    """Run the migrations on an open connection."""
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_item=render_item,
        render_as_batch=connection.dialect.name == "sqlite",
        compare_type=True,
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    with make_engine(settings.load().database_url).connect() as opened:
        run(opened)
        opened.commit()

"""Which revision is a cellar at, and how is it brought to the newest one."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, inspect

from mustwright.store.engine import Place, StoreError, engine_of, is_postgresql, lock, shown
from mustwright.texts import say

HEAD = "0004"


def revision(connection: Connection) -> str | None:
    """The revision a cellar is at; None when it was never migrated."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()


def refuse_unknown(place: Place, found: str | None) -> None:
    """Refuse a cellar at a revision this version does not know."""
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory.from_config(alembic_config())
    if found is not None and found not in {s.revision for s in scripts.walk_revisions()}:
        raise StoreError(
            say("the cellar {shown} was made by a newer version of mustwright", shown=shown(place))
        )


def migrate(place: Place, target: str = HEAD) -> None:
    """Bring a cellar to a revision, in one transaction; two at once do it once."""
    from alembic import command

    config = alembic_config()
    # Rebuilding a parent table deletes its children while foreign keys are enforced.
    engine = engine_of(place, foreign_keys=False)
    try:
        with engine.begin() as connection:
            lock(connection)
            config.attributes["connection"] = connection
            command.upgrade(config, target)
            if not is_postgresql(connection):
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
                if broken:
                    raise StoreError(
                        say(
                            "migrating {shown} would break {broken} references",
                            shown=shown(place),
                            broken=len(broken),
                        )
                    )
    finally:
        engine.dispose()


def alembic_config() -> Any:
    """Where the migrations are."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "mustwright.store:migrations")
    config.set_main_option("path_separator", "os")
    return config

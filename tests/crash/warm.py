"""What a server holds in memory after its first run; killable servers are forked from it."""

from sqlalchemy.orm import configure_mappers
from tests import builders
from tests.sites import PLOVER

from beadline import app, reading
from beadline.cli import serving
from beadline.settings import Settings

FILE = builders.make_cycle_file(PLOVER, 1)
serving.warm()
configure_mappers()
app.build(Settings(database_url="sqlite://")).state.engine.dispose()
reading.read(FILE.content, filename=FILE.filename)

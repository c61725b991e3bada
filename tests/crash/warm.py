"""What a server holds in memory after its first run; killable servers are forked from it."""

from tests import builders
from tests.sites import PLOVER

from beadline import reading
from beadline.cli import serving

FILE = builders.make_cycle_file(PLOVER, 1)
serving.warm()
reading.read(FILE.content, filename=FILE.filename)

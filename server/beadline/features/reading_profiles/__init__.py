"""Reading profiles: how the files of one layout are read, version by version."""

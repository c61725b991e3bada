"""Logbook and watchman of packed chromatography beds."""

"""Statistics over the cycles of one bed: baseline, limits, charts, alerts and forecast, replayable."""

from beadline.science.drift.baseline import Baseline
from beadline.science.drift.charts import ChartReading
from beadline.science.drift.fleet import pool
from beadline.science.drift.forecast import Forecast, forecast
from beadline.science.drift.judgement import AlertEvidence, Judgement
from beadline.science.drift.life import Life, State, advance, limits, replay, start
from beadline.science.drift.outlook import Outlook, outlook
from beadline.science.drift.prior import Prior, Promise
from beadline.science.drift.promise import Pair, promised
from beadline.science.drift.prospect import Prospect, prospect
from beadline.science.drift.reading import Reading
from beadline.science.drift.settings import METHOD, VERSION, FixedLimits, Settings
from beadline.science.drift.spoken import Spoke, Voice, spoke, voices

__all__ = [
    "METHOD",
    "VERSION",
    "AlertEvidence",
    "Baseline",
    "ChartReading",
    "FixedLimits",
    "Forecast",
    "Judgement",
    "Life",
    "Outlook",
    "Pair",
    "Prior",
    "Promise",
    "Prospect",
    "Reading",
    "Settings",
    "Spoke",
    "State",
    "Voice",
    "advance",
    "forecast",
    "limits",
    "outlook",
    "pool",
    "promised",
    "prospect",
    "replay",
    "spoke",
    "start",
    "voices",
]

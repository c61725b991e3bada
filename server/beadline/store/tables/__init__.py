"""All tables, one file each."""

from beadline.store.tables.alert import Alert
from beadline.store.tables.alert_event import AlertEvent
from beadline.store.tables.alert_picture import AlertPicture
from beadline.store.tables.api_token import ApiToken
from beadline.store.tables.baseline import Baseline
from beadline.store.tables.bed_event import BedEvent
from beadline.store.tables.bed_state import BedState
from beadline.store.tables.campaign_review import CampaignReview
from beadline.store.tables.column import Column
from beadline.store.tables.cycle import Cycle
from beadline.store.tables.earlier_pulse_result import EarlierPulseResult
from beadline.store.tables.judgement import Judgement
from beadline.store.tables.kept_answer import KeptAnswer
from beadline.store.tables.notice import Notice
from beadline.store.tables.notice_route import NoticeRoute
from beadline.store.tables.packing import Packing
from beadline.store.tables.planned_campaign import PlannedCampaign
from beadline.store.tables.pulse_criteria import PulseCriteria
from beadline.store.tables.pulse_test import PulseTest
from beadline.store.tables.reading_profile import ReadingProfile
from beadline.store.tables.recomputation import Recomputation, RecomputedBed, RecomputedCycle
from beadline.store.tables.record import Record
from beadline.store.tables.resin import Resin
from beadline.store.tables.resin_lot import ResinLot
from beadline.store.tables.review_checks import ReviewChecks
from beadline.store.tables.sign_in import SignIn
from beadline.store.tables.signature import Signature
from beadline.store.tables.step_plan import StepPlan
from beadline.store.tables.trace import Trace
from beadline.store.tables.transition import Transition
from beadline.store.tables.user import User

__all__ = [
    "Alert",
    "AlertEvent",
    "AlertPicture",
    "ApiToken",
    "Baseline",
    "BedEvent",
    "BedState",
    "CampaignReview",
    "Column",
    "Cycle",
    "EarlierPulseResult",
    "Judgement",
    "KeptAnswer",
    "Notice",
    "NoticeRoute",
    "Packing",
    "PlannedCampaign",
    "PulseCriteria",
    "PulseTest",
    "ReadingProfile",
    "Recomputation",
    "RecomputedBed",
    "RecomputedCycle",
    "Record",
    "Resin",
    "ResinLot",
    "ReviewChecks",
    "SignIn",
    "Signature",
    "StepPlan",
    "Trace",
    "Transition",
    "User",
]

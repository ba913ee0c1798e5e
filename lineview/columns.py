"""The names of lineview.core.frames in their former place."""

# ruff: noqa: PLC0414 - re-exported

from lineview.core.frames import ADJUSTMENTS as ADJUSTMENTS
from lineview.core.frames import BATCHES as BATCHES
from lineview.core.frames import CALENDAR as CALENDAR
from lineview.core.frames import INCREMENTS as INCREMENTS
from lineview.core.frames import PLAN as PLAN
from lineview.core.frames import READINGS as READINGS
from lineview.core.frames import REELS as REELS
from lineview.core.frames import REFUSALS as REFUSALS
from lineview.core.frames import ROPE_BATCHES as ROPE_BATCHES
from lineview.core.frames import STATES as STATES
from lineview.core.frames import STOCK as STOCK
from lineview.core.frames import STOP_LOG as STOP_LOG
from lineview.core.frames import TAPE as TAPE
from lineview.core.frames import UTC_US as UTC_US
from lineview.core.frames import WEIGHTS as WEIGHTS
from lineview.core.frames import empty as empty
from lineview.core.frames import require as require

"""ANSI/ISA-TR88.00.02 names as in OPC 30050's NodeSet; numbers partly from memory."""

from datetime import UTC, datetime

import polars as pl
import pytest

from lineview.machine.state_codes import STANDARD_NAMES, meaning
from tests.one_count import increments

OPC_30050 = {
    "Undefined": 0, "Clearing": 1, "Stopped": 2, "Starting": 3, "Idle": 4, "Suspended": 5, "Execute": 6,
    "Stopping": 7, "Aborting": 8, "Aborted": 9, "Holding": 10, "Held": 11, "Unholding": 12, "Suspending": 13,
    "Unsuspending": 14, "Resetting": 15, "Completing": 16, "Complete": 17,
}  # fmt: skip
OPC_30060 = {
    "Stopped": 0, "Resetting": 1, "Idle": 2, "Starting": 3, "Execute": 4, "Completing": 5, "Complete": 6,
    "Aborting": 7, "Aborted": 8, "Stopping": 9, "Clearing": 10, "Suspending": 11, "Suspended": 12,
    "Unsuspending": 13, "Holding": 14, "Held": 15, "Unholding": 16,
}  # fmt: skip


def test_every_name_is_known_and_no_number_is() -> None:
    assert {name.casefold() for name in OPC_30050} == set(STANDARD_NAMES)
    assert all(meaning(name, {}) is not None for name in OPC_30050)
    assert all(meaning(str(number), {}) is None for number in OPC_30050.values())


def test_six_is_execute_in_one_list_and_complete_in_the_other() -> None:
    assert OPC_30050["Execute"] == OPC_30060["Complete"] == 6
    for numbers, six in ((OPC_30050, "running"), (OPC_30060, "idle")):
        declared = {str(number): STANDARD_NAMES[name.casefold()] for name, number in numbers.items()}
        assert meaning("6", declared) == six


def test_held_is_the_machines_own_and_suspended_is_not() -> None:
    assert meaning("Held", {}) == "stop"
    assert meaning("Suspended", {}) == "outside"
    assert meaning("EquipmentBlocked", {}) == "blocked"
    assert meaning("EquipmentStarved", {}) == "starved"


def test_opc_30050_6_3_4_rollover() -> None:
    # Values roll over to 0 at 2,147,483,647: the modulus is 2^31 if that value is shown, else one less.
    at = [datetime(2026, 6, 9, 6, k, tzinfo=UTC) for k in range(2)]
    frame = pl.DataFrame({"at": at, "value": [2147483640.0, 12.0]})
    for modulus, expected in ((2**31, 20), (2**31 - 1, 19)):
        assert increments(frame, modulus=modulus, fastest_per_min=400)["n"].to_list() == [expected]


@pytest.mark.parametrize("state", ["", "7.5", "no such state"])
def test_what_nobody_declared_cannot_be_told(state: str) -> None:
    assert meaning(state, {}) is None

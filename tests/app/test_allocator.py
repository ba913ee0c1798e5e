"""The board's process returns memory: the setting stands before the library that reads it is loaded."""

import os
import subprocess
import sys

from lineview.app.allocator import SETTING

CODE = """
import os, sys
import lineview.cli.main
from lineview.app import allocator
allocator.give_memory_back()
print(os.environ[allocator.SETTING], any(name.partition(".")[0] == "polars" for name in sys.modules))
"""


def printed(**environment: str) -> str:
    # polars, where a test before this one has loaded it, leaves its own setting in the environment
    inherited = {name: value for name, value in os.environ.items() if name != SETTING}
    run = subprocess.run(
        [sys.executable, "-c", CODE], env={**inherited, **environment}, check=True, capture_output=True, text=True
    )
    return run.stdout.strip()


def test_the_setting_is_there_before_polars_is_imported() -> None:
    assert printed() == f"dirty_decay_ms:2000,muzzy_decay_ms:0,narenas:{os.cpu_count()} False"


def test_what_the_user_has_set_stands() -> None:
    assert printed(_RJEM_MALLOC_CONF="background_thread:true") == "background_thread:true False"

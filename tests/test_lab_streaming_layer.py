"""The example that reads a Lab Streaming Layer source on this machine."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

pylsl = pytest.importorskip("pylsl")
pytestmark = pytest.mark.peers  # it needs a package that the library does not

EXAMPLE = Path(__file__).parents[1] / "examples" / "lab_streaming_layer.py"
OWN = """
import pylsl
told = pylsl.StreamInfo("infantmon test", "test", 1, 0.0, pylsl.cf_double64, "infantmon-test")
outlet = pylsl.StreamOutlet(told)
raise SystemExit(not pylsl.resolve_byprop("name", "infantmon test", timeout=5.0))
"""


def run(*words, folder):
    (folder / "lsl_api.cfg").write_text("[multicast]\nResolveScope = machine\n", encoding="utf-8")
    environment = os.environ | {"LSLAPICFG": str(folder / "lsl_api.cfg")}
    command = [sys.executable, *words]
    return subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=120, check=False
    )


def test_what_a_source_sends_comes_out_as_changes(tmp_path):
    if run("-c", OWN, folder=tmp_path).returncode:
        pytest.xfail("this machine lets no source be found, not even its own")
    told = run(str(EXAMPLE), folder=tmp_path)
    assert told.returncode == 0, told.stderr
    active = {}
    for line in told.stdout.splitlines():
        at_s, _, rest = line.split(maxsplit=2)
        if " active " in rest:
            active[rest.split("  ")[0]] = float(at_s)
    # The pause begins at the last breath before 15 s; the limit is 15 s, the stated delay 3.2 s.
    assert 29.0 < active["apnea"] < 33.3
    # The ECG is lost from 40 to 43 s; the delay of that condition is 2 s.
    assert 42.0 < active["signal unusable"] < 43.5

"""Filters with carried state: signals side by side are filtered as each alone, however cut."""

import numpy as np
from scipy import signal

from infantmon.dsp.sections import Sections


def test_lanes_are_filtered_as_each_alone_however_cut():
    sos = signal.butter(3, 0.1, output="sos")
    lanes = np.random.default_rng(2).standard_normal((3, 500))
    alone = np.array([Sections(sos).push(lane) for lane in lanes])
    together = Sections(sos, lanes=(3,))
    parts = [together.push(lanes[:, first : first + 77]) for first in range(0, 500, 77)]
    parts.insert(3, together.push(lanes[:, :0]))
    np.testing.assert_array_equal(np.concatenate(parts, axis=1), alone)

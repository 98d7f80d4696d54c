"""From chest impedance and ECG of an infant to judged cardiorespiratory events.

Research software for offline study, not a medical device, not for live use on an infant. Impedance
cannot see obstructive apnea; no monitor is shown to prevent SIDS.
"""

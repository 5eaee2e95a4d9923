"""Puts this folder on the path: every test may use the builders of `stitched`.

In CI the property tests try the same examples on every run; elsewhere they look for new ones.
"""

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")

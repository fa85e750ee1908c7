"""What every test may rely on."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "checkout",
    deadline=None,
    derandomize=True,
    max_examples=100,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("checkout")
"""The same examples on every machine: a failure is about the change, not about luck."""

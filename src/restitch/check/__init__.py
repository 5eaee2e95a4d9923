"""What is wrong with a design and what it costs, each cause named, ranked and placed."""

from restitch.check.registry import Cause, check, finders, over_limits, summary

__all__ = ["Cause", "check", "finders", "over_limits", "summary"]

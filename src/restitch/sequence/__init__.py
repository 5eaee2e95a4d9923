"""The sewing order: who lies over whom, the shortest way through, how ends are joined and tied."""

from restitch.sequence.ordering import OrderResult, order

__all__ = ["OrderResult", "order"]

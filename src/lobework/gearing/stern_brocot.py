"""The Stern-Brocot tree, which contains every positive fraction in lowest terms, as the mediant of two simpler fractions.

A fraction is stored as a pair of integers, numerator and denominator, because one neighbour of the root is 1/0.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

__all__ = ["Node", "fractions_between", "simplest_between"]

_Pair = tuple[int, int]


class Node(NamedTuple):
    """A node of the tree, stored as two neighbours; the fraction of the node and all its descendants lie between them.

    >>> root = Node()
    >>> root.mediant, root.lower.mediant, root.upper.lower.mediant
    ((1, 1), (1, 2), (3, 2))
    """

    left: _Pair = (0, 1)
    right: _Pair = (1, 0)

    @property
    def mediant(self) -> _Pair:
        """The fraction of the node: the sum of the numerators of both neighbours over the sum of their denominators."""
        return self.left[0] + self.right[0], self.left[1] + self.right[1]

    @property
    def lower(self) -> Node:
        """The child whose fractions are smaller."""
        return Node(self.left, self.mediant)

    @property
    def upper(self) -> Node:
        """The child whose fractions are larger."""
        return Node(self.mediant, self.right)

    def towards(self, low: Fraction, high: Fraction) -> Node:
        """Return a descendant closer to the interval from ``low`` to ``high``.

        Successive steps to the same side are taken at once, as long as the fractions of the nodes lie outside the interval.
        """
        left, right = self
        above = _steps_under(left, right, low)
        left = left[0] + above * right[0], left[1] + above * right[1]
        below = _steps_under((-right[0], right[1]), (-left[0], left[1]), -high)
        return Node(left, (right[0] + below * left[0], right[1] + below * left[1]))


def fractions_between(low: Fraction, high: Fraction, largest: int) -> Iterator[_Pair]:
    """Yield the fractions from ``low`` to ``high`` in ascending order of the larger term, which is at most ``largest``.

    >>> list(fractions_between(Fraction(1, 3), Fraction(2, 3), 4))
    [(1, 2), (1, 3), (2, 3)]
    """
    heap: list[tuple[int, Node]] = []

    def push(node: Node) -> None:
        node = node.towards(low, high)
        if (larger := max(node.mediant)) <= largest:
            heapq.heappush(heap, (larger, node))

    push(Node())
    while heap:
        _, node = heapq.heappop(heap)
        top, under = node.mediant
        above = top * low.denominator - low.numerator * under
        below = high.numerator * under - top * high.denominator
        if above >= 0 and below >= 0:
            yield top, under
        if above > 0:
            push(node.lower)
        if below > 0:
            push(node.upper)


def simplest_between(low: Fraction, high: Fraction) -> Fraction:
    """Return the fraction with the smallest terms from ``low`` to ``high``, both above zero.

    >>> simplest_between(Fraction("3.139"), Fraction("3.143"))
    Fraction(22, 7)
    """
    node = Node().towards(low, high)
    while not low <= (found := Fraction(*node.mediant)) <= high:
        node = (node.upper if found < low else node.lower).towards(low, high)
    return found


def _steps_under(start: _Pair, step: _Pair, limit: Fraction) -> int:
    """Return how many times ``step``, which is above the limit, can be added to ``start`` with the sum below the limit."""
    gain = step[0] * limit.denominator - limit.numerator * step[1]
    short = limit.numerator * start[1] - start[0] * limit.denominator
    return max(0, (short - 1) // gain) if gain > 0 else 0

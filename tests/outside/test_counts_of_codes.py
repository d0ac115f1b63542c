"""How many codes a table has, against the On-Line Encyclopedia of Integer Sequences.

Numbers of n-digit strings in which neighbouring digits differ by at most m: OEIS A126364 (base 10, m 1), A126397
(base 10, m 2), A126478 (base 10, m 3), A126505 (base 10, m 4), A126504 (base 9, m 4), A126502 (base 7, m 4), A126475
(base 7, m 3). A383202 counts the n-digit integers with m 7, whose first digit is not 0.
"""

from __future__ import annotations

import numpy as np
import pytest

from keycore.chain import links_of, totals

PUBLISHED = {
    "A126364": (10, 1, (10, 28, 80, 230, 664, 1922)),
    "A126397": (10, 2, (10, 44, 200, 918, 4236, 19598)),
    "A126478": (10, 3, (10, 58, 350, 2130, 12990, 79258, 483646)),
    "A126505": (10, 4, (10, 70, 510, 3720, 27142, 198034, 1444904)),
    "A126504": (9, 4, (9, 61, 429, 3011, 21141, 148433)),
    "A126502": (7, 4, (7, 43, 269, 1679, 10483, 65449, 408623)),
    "A126475": (7, 3, (7, 37, 203, 1111, 6083, 33305)),
}
A383202 = (9, 86, 813, 7693, 72786, 688661, 6515721, 61648078)


@pytest.mark.parametrize("sequence", PUBLISHED)
def test_counts_of_codes_are_the_published_ones(sequence):
    """The counter that normalises evidence, and the sum that decoding takes over all codes with every factor 1."""
    depths, reach, terms = PUBLISHED[sequence]
    for cuts, term in enumerate(terms, 1):
        links = links_of(cuts, 1, depths, reach)

        assert links.count() == term
        assert totals([np.ones((1, depths))] * cuts, links)[0] == pytest.approx(term, rel=1e-12)


def test_counts_with_the_first_depth_ruled_out_are_the_published_ones():
    """Integers do not begin with 0, as a key whose first cut is known not to be a 0."""
    for cuts, term in enumerate(A383202, 1):
        allowed = np.ones((cuts, 10), dtype=bool)
        allowed[0, 0] = False

        assert links_of(cuts, 1, 10, 7).count(allowed) == term

"""The worked example of pull arithmetic: 16 g in, 35 g out at 10.0 % dissolved solids.

Expected numbers are hand arithmetic: 35 x 0.10 = 3.500 g; 3.5 / 16 = 21.875 %; / 0.98 = 22.321 %. The uncertainty is
that of a product of powers (JCGM 100:2008, GUM, 5.1.6): 21.875 x sqrt((0.1/10)^2 + (0.1/35)^2 + (0.1/16)^2) = 0.265.
"""

import pytest

from evenhand.espresso.extraction import measure


def test_worked_example():
    pull = measure(16.0, 35.0, 32.0, 10.0, 2.0, scale_sd_g=0.1, tds_sd_pct=0.1)
    assert pull.solids_g is not None
    assert pull.solids_g.value == pytest.approx(3.500, abs=5e-4)
    assert pull.extraction_pct is not None
    assert pull.extraction_pct.value == pytest.approx(21.875, abs=5e-4)
    assert pull.extraction_pct.sd == pytest.approx(0.265, abs=5e-4)
    assert pull.extraction_dry_pct is not None
    assert pull.extraction_dry_pct.value == pytest.approx(22.321, abs=5e-4)
    assert pull.ratio.value == pytest.approx(2.1875)
    assert pull.flow_g_per_s.value == pytest.approx(35 / 32)

"""The product equals NumPy's."""

import numpy as np

from vision.product import product


def test_product_equals_numpys():
    rng = np.random.default_rng(0)
    a, b = rng.normal(0, 1, (37, 64)).astype(np.float32), rng.normal(0, 1, (53, 64)).astype(np.float32)
    np.testing.assert_allclose(product(a, b), a @ b.T, rtol=1e-5, atol=1e-5)

"""What the arrays of the package are called: numbers, positions, and yes or no."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Index", "Mask"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

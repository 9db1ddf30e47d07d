"""Array types shared by every room."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
"""Any array of double-precision numbers; each docstring gives its shape."""

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

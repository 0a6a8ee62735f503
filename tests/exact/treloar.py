# SPDX-License-Identifier: MIT
"""Treloar's data for rubber with 8 % sulphur, nominal stress in MPa over stretch.

Treloar, Trans. Faraday Soc. 40, 59 (1944). Taken from two public copies that agree with each other
(3MAH/simcoon, examples/hyperelasticity/comparison/Treloar.txt, and OVGU-CoMe/treloar_fit); the paper
itself was not opened. Reading the printed curves is uncertain by about 2 %. The unloaded first
row is left out.
"""

import numpy as np

UNIAXIAL = np.array(
    [
        (1.01, 0.03), (1.12, 0.14), (1.24, 0.23), (1.39, 0.32), (1.61, 0.41), (1.89, 0.50), (2.17, 0.58),
        (2.42, 0.67), (3.01, 0.85), (3.58, 1.04), (4.03, 1.21), (4.76, 1.58), (5.36, 1.94), (5.76, 2.29),
        (6.16, 2.67), (6.40, 3.02), (6.62, 3.39), (6.87, 3.75), (7.05, 4.12), (7.16, 4.47), (7.27, 4.85),
        (7.43, 5.21), (7.50, 5.57), (7.61, 6.30),
    ]
)  # fmt: skip
SHEAR = np.array(
    [
        (1.06, 0.07), (1.14, 0.16), (1.21, 0.24), (1.32, 0.33), (1.46, 0.42), (1.87, 0.59), (2.40, 0.76),
        (2.98, 0.93), (3.48, 1.11), (3.96, 1.28), (4.36, 1.46), (4.69, 1.62), (4.96, 1.79),
    ]
)  # fmt: skip
BIAXIAL = np.array(
    [
        (1.04, 0.09), (1.08, 0.16), (1.12, 0.24), (1.14, 0.26), (1.20, 0.33), (1.31, 0.44), (1.42, 0.51),
        (1.69, 0.65), (1.94, 0.77), (2.49, 0.96), (3.03, 1.24), (3.43, 1.45), (3.75, 1.72), (4.03, 1.96),
        (4.26, 2.22), (4.44, 2.43),
    ]
)  # fmt: skip
DATA = {"uniaxial": UNIAXIAL, "biaxial": BIAXIAL, "shear": SHEAR}
